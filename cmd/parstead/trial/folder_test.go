package trial_test

import (
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
)

// sound is a small trial without a mistake or a warning. Invented data.
var sound = map[string]string{
	"trial.toml": `[trial]
name     = "sound"
timezone = "Europe/Lisbon"
starts   = 2026-03-02
ends     = 2026-06-14

[broker]
url = "tcp://127.0.0.1:1883"

[[lamp]]
name         = "bar"
lux_per_ppfd = 67.0
on           = "07:00"
off          = "21:00"

[[bin]]
name      = "upper"
rows      = 3
columns   = 4
pitch_cm  = [6.0, 5.0]
lamp      = "bar"
reservoir = "A"

[[bin]]
name     = "lower"
rows     = 3
columns  = 4
pitch_cm = [6.0, 5.0]
lamp     = "bar"

[[sensor]]
name     = "upper light"
measures = "lux"
bin      = "upper"
topic    = "rack/upper"

[[sensor]]
name     = "lower light"
measures = "lux"
bin      = "lower"
topic    = "rack/lower"

[[treatment]]
name    = "medium"
levels  = ["coir", "bark"]
set_per = "plant"

[[outcome]]
name  = "biomass_g"
kind  = "measure"
start = "start_g"

[[outcome]]
name = "leaves"
kind = "count"

[[outcome]]
name = "rooted"
kind = "yes_no"
`,
	"plants.csv": `plant,species,start_g
A1,one,1.25
A2,one,0.94
A3,two,1.10
A4,two,1.05
`,
	"layout.csv": `plant,bin,row,column,medium,guard
A1,upper,1,1,coir,
A2,upper,1,2,bark,no
A3,lower,1,1,coir,
A4,lower,1,2,bark,yes
`,
}

// edit replaces a piece of one file; of "" it appends, and a file that is not
// there yet is made.
type edit struct{ file, old, new string }

// folder writes the sound trial with edits.
func folder(t *testing.T, edits ...edit) string {
	t.Helper()
	dir := t.TempDir()
	files := maps.Clone(sound)
	for _, e := range edits {
		text := files[e.file]
		if e.old == "" {
			files[e.file] = text + e.new
			continue
		}
		if strings.Count(text, e.old) != 1 {
			t.Fatalf("%q stands %d times in %s", e.old, strings.Count(text, e.old), e.file)
		}
		files[e.file] = strings.Replace(text, e.old, e.new, 1)
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// load reads the sound trial with edits, which must be usable.
func load(t *testing.T, edits ...edit) *trial.Trial {
	t.Helper()
	read, problems := trial.Load(folder(t, edits...))
	if !trial.Usable(problems) {
		t.Fatalf("problems: %v", problems)
	}
	return read
}

// told lists the problems of a folder in lines, without those of its drive.
func told(problems []trial.Problem) []string {
	var lines []string
	for _, p := range problems {
		if p.File != "" {
			lines = append(lines, p.Error())
		}
	}
	return lines
}

// remove takes a file out of a trial's folder.
func remove(t *testing.T, dir, file string) {
	t.Helper()
	if err := os.Remove(filepath.Join(dir, file)); err != nil {
		t.Fatal(err)
	}
}
