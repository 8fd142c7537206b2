package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

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

const ownBroker = `listen = "127.0.0.1:0"`

// rackFolder writes a trial that began two days before now and lasts 40 days.
func rackFolder(t *testing.T, now time.Time, broker string) string {
	t.Helper()
	dir := t.TempDir()
	first := light.DateOf(now.UTC()).Add(-2)
	text := fmt.Sprintf(rackToml, first, first.Add(39), broker)
	if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// command runs a command line and returns what it wrote and its exit status.
func command(t *testing.T, now time.Time, stdin string, args ...string) (status int, stdout, stderr string) {
	t.Helper()
	var out, talk strings.Builder
	err := runAt(&env{t.Context(), strings.NewReader(stdin), &out, &talk, func() time.Time { return now }}, args)
	status = exitCode(err, &talk)
	return status, out.String(), talk.String()
}

// must is command for one that has to succeed.
func must(t *testing.T, now time.Time, stdin string, args ...string) (stdout string) {
	t.Helper()
	status, out, talk := command(t, now, stdin, args...)
	if status != 0 {
		t.Fatalf("parstead %s: exit status %d: %s", strings.Join(args, " "), status, talk)
	}
	return out
}

// narrow demands that text for people fits a terminal of 80 columns.
func narrow(t *testing.T, text string) {
	t.Helper()
	for line := range strings.Lines(text) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
			t.Errorf("a line of %d columns: %q", n, line)
		}
	}
}

// march is a moment of the tests whose clock stands still.
var march = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
