package trial_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
)

var springDay = light.Date{Year: 2026, Month: 3, Day: 2}

// The starter has no error, and no warning but that of its loopback listener.
func TestBeginPassesCheck(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "rack", "spring")
	files, err := trial.Begin(dir, springDay)
	if err != nil || len(files) != 3 {
		t.Fatal(files, err)
	}
	read, problems := trial.Load(dir)
	lines := told(problems)
	if len(lines) != 1 || !strings.Contains(lines[0], "warning: the broker listens on 127.0.0.1:1883") {
		t.Error(strings.Join(lines, "\n"))
	}
	if read.Rack.Starts != springDay || read.Rack.Ends.String() != "2026-05-24" || len(read.Plants) != 40 {
		t.Errorf("%v to %v, %d plants", read.Rack.Starts, read.Rack.Ends, len(read.Plants))
	}
	// Every line that is off must fit too, once it is on.
	path := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	on := string(text)
	for _, off := range []string{"# light_window", "# username      = \"rack\"\n# password_file", "# code_file", "# [tell]\n# mail  = ", "# daily", "# [backup]\n# folder", "# at     =", "# keep", "# [cost]\n# currency", "# per_kwh", "# [[load]]", "# name = \"pump\"\n# watts", "# hours_per_day", "# bins"} {
		if strings.Count(on, off) != 1 {
			t.Fatalf("%q stands %d times in the starter", off, strings.Count(on, off))
		}
		on = strings.Replace(on, off, strings.ReplaceAll(off, "# ", ""), 1)
	}
	for name, text := range map[string]string{"trial.toml": on, "broker-password": "p", "entry-code": "code-17", "mail-password": "m"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	read, problems = trial.Load(dir)
	if !trial.Usable(problems) {
		t.Error(problems)
	}
	if read.Tell == nil || read.Backup == nil || read.Cost == nil || len(read.Loads) != 1 || read.Window.First != 28 {
		t.Errorf("%+v", read)
	}
}

// The starter explains every key that a trial may have, under its own table, and
// names every column of the sheets.
func TestBeginExplainsEveryKey(t *testing.T) {
	t.Parallel()
	every, err := os.ReadFile("../../../testdata/trials/every-key/trial.toml")
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	if _, err := trial.Begin(dir, springDay); err != nil {
		t.Fatal(err)
	}
	starter, err := os.ReadFile(filepath.Join(dir, "trial.toml"))
	if err != nil {
		t.Fatal(err)
	}
	heading := regexp.MustCompile(`^[# ]*(\[+\w+\]+)`)
	told := map[string]string{} // what the starter says under each heading
	table := ""
	for line := range strings.Lines(string(starter)) {
		if m := heading.FindStringSubmatch(line); m != nil {
			table = m[1]
		}
		told[table] += line
	}
	key := regexp.MustCompile(`(?m)^([a-z_]+) *=`)
	table, n := "", 0
	for line := range strings.Lines(string(every)) {
		if m := heading.FindStringSubmatch(line); m != nil {
			table = m[1]
		} else if m := key.FindStringSubmatch(line); m != nil {
			n++
			if !regexp.MustCompile(`\b` + m[1] + `\b`).MatchString(told[table]) {
				t.Errorf("%s: no word of %s", table, m[1])
			}
		}
	}
	if n < 80 {
		t.Errorf("only %d keys were looked for", n)
	}
	for _, column := range []string{
		"guard", "meter", "outcome", "date", "status", "harvested", "lost", "withdrawn", "lost_on", "leave_out", "X_gross", "X_tare", "X_again", "remarks",
	} {
		if !strings.Contains(string(starter), column) {
			t.Errorf("no word of the column %s", column)
		}
	}
	for _, cause := range trial.Causes {
		if !strings.Contains(string(starter), cause) {
			t.Errorf("no word of the cause %s", cause)
		}
	}
	for _, name := range slices.Concat(light.QuantityNames(), ingest.TimeFormats()) {
		if !strings.Contains(string(starter), name) {
			t.Errorf("no word of the quantity or time format %s", name)
		}
	}
}

// The cautions of the design stand in the starter.
func TestBeginCautions(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if _, err := trial.Begin(dir, springDay); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(dir, "trial.toml"))
	if err != nil {
		t.Fatal(err)
	}
	one := strings.Join(strings.Fields(strings.ReplaceAll(string(text), "\n#", " ")), " ")
	for _, caution := range []string{
		"only watches", "residual-current device", "licensed electrician", "drip loops", "off at the plug",
		"Don't look into lamps", "Drain bins before lifting", "gloves", "a mask with mouldy", "never in an oven",
		"Release no plants or water", "never open the broker",
	} {
		if !strings.Contains(strings.ToLower(one), strings.ToLower(caution)) {
			t.Errorf("no word of: %s", caution)
		}
	}
}

func TestBeginOverwritesNothing(t *testing.T) {
	t.Parallel()
	for _, there := range []string{"trial.toml", "survey.csv", "plants.xlsx"} {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, there), []byte("mine"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := trial.Begin(dir, springDay); err == nil || !strings.Contains(err.Error(), there) {
			t.Errorf("%s: %v", there, err)
		}
		entries, err := os.ReadDir(dir)
		if err != nil || len(entries) != 1 {
			t.Errorf("%s: %v %v", there, entries, err)
		}
	}
}
