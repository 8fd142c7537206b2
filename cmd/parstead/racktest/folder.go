// Package racktest is what the tests of a watched trial share: folders of invented
// trials, a clock that a test moves, sensors, another broker, a phone, and where
// messages arrive.
package racktest

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

// Midday is a moment of the test trials at which their lamp has long been on.
var Midday = time.Date(2026, 8, 5, 12, 0, 0, 0, time.UTC)

// March is a moment of the tests whose clock stands still.
var March = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

// rackToml is a trial of one bin with a quantum sensor and a sensor of the air.
// Invented.
const rackToml = `[trial]
name     = "rack"
timezone = "UTC"
starts   = %s
ends     = %s

[broker]
%s

[page]
listen = "127.0.0.1:0"

[climate]
base_celsius = 10
celsius      = [16, 30]
humidity     = [40, 95]

[[lamp]]
name  = "bar"
watts = 40
lux_per_ppfd = 67.0
on    = "07:00"
off   = "21:00"

[[bin]]
name     = "upper"
rows     = 2
columns  = 2
pitch_cm = [6.0, 6.0]
lamp     = "bar"

[[sensor]]
name     = "quantum"
measures = "ppfd"
bin      = "upper"
row      = 1
column   = 1
topic    = "rack/light"
every    = "60s"

[[sensor]]
name     = "air"
measures = "temperature"
bin      = "upper"
topic    = "rack/air"
value    = "/celsius"
time     = "/at"

[[sensor]]
name     = "damp"
measures = "humidity"
bin      = "upper"
topic    = "rack/air"
value    = "/humidity"
time     = "/at"
`

// OwnBroker is the broker section of a trial whose daemon is the broker.
const OwnBroker = `listen = "127.0.0.1:0"`

// RackTrial writes a trial that began two days before now and lasts 40 days.
func RackTrial(t *testing.T, now time.Time, broker string) string {
	t.Helper()
	dir := t.TempDir()
	first := light.DateOf(now.UTC()).Add(-2)
	text := fmt.Sprintf(rackToml, first, first.Add(39), broker)
	if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// SmallTrial writes a trial of two bins with a light sensor each, lit from 06:00
// to 20:00 UTC, on ports of the system's choice, and returns its folder.
func SmallTrial(tb testing.TB, more string) string {
	tb.Helper()
	dir := tb.TempDir()
	text := `[trial]
name = "test rack"
timezone = "UTC"
starts = 2026-08-01
ends = 2026-08-30
[broker]
listen = "127.0.0.1:0"
[page]
listen = "127.0.0.1:0"
` + more + `
[[lamp]]
name = "bar"
on = "06:00"
off = "20:00"
`
	var bins strings.Builder
	for _, bin := range []string{"upper", "lower"} {
		fmt.Fprintf(&bins, "[[bin]]\nname = %[1]q\nrows = 2\ncolumns = 3\npitch_cm = [6, 6]\nlamp = \"bar\"\ntarget_dli = 5.0\n"+
			"[[sensor]]\nname = %[1]q\nmeasures = \"ppfd\"\nbin = %[1]q\nrow = 1\ncolumn = 1\ntopic = \"rack/%[1]s\"\n", bin)
	}
	if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text+bins.String()), 0o600); err != nil {
		tb.Fatal(err)
	}
	return dir
}

// EntryTrial is the small trial with four plants and an entry code. Invented.
func EntryTrial(tb testing.TB, more string) string {
	tb.Helper()
	dir := SmallTrial(tb, "code_file = \"entry-code\"\n"+more+`
[[treatment]]
name = "medium"
levels = ["coir", "bark"]
set_per = "plant"
[[outcome]]
name = "leaves"
kind = "count"
[[outcome]]
name = "mass_g"
kind = "measure"
unit = "g"
[[outcome]]
name = "rooted"
kind = "yes_no"
`)
	WriteFiles(tb, dir, map[string]string{
		"entry-code": "wet-hands-7\n",
		"layout.csv": "plant;bin;row;column;medium\r\nP1;upper;1;1;coir\r\nP2;upper;1;2;bark\r\nP3;lower;1;1;coir\r\nP4;lower;1;2;bark\r\n",
	})
	return dir
}

// WriteFiles writes files by their names into a folder.
func WriteFiles(tb testing.TB, dir string, files map[string]string) {
	tb.Helper()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			tb.Fatal(err)
		}
	}
}

// Text is a file of the trial; "" where there is none.
func Text(tb testing.TB, dir, file string) string {
	tb.Helper()
	text, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		tb.Fatal(err)
	}
	return string(text)
}
