package trial_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/plan"
	"parstead/ingest"
	"parstead/light"
)

const planted = "../../../testdata/trials/twenty-mistakes"

// Every planted mistake is told in one run, with its line and its mend.
func TestTwentyMistakes(t *testing.T) {
	t.Parallel()
	_, problems := trial.Load(planted)
	lines := told(problems)
	got := strings.Join(lines, "\n") + "\n"
	golden := filepath.Join(planted, "expected.txt")
	if os.Getenv("PARSTEAD_WRITE_GOLDEN") == "1" {
		if err := os.WriteFile(golden, []byte(got), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(golden)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Error(d)
	}
	if len(lines) != 20 {
		t.Errorf("%d problems, 20 mistakes are planted", len(lines))
	}
	// Lines by hand, so that the golden file can't bless a wrong place.
	places := map[string][]int{
		"trial.toml": {7, 14, 24, 42, 45, 55, 59, 65, 70, 83, 89},
		"plants.csv": {4, 5}, "layout.csv": {4, 5, 5}, "survey.csv": {3}, "moves.csv": {2}, "harvest.csv": {3, 4},
	}
	found := map[string][]int{}
	for _, p := range problems {
		if p.File == "" {
			continue
		}
		found[p.File] = append(found[p.File], p.Line)
		if p.Mend == "" || p.Says == "" || p.Level != trial.LevelError || p.Column < 1 {
			t.Errorf("%+v: incomplete", p)
		}
	}
	if d := cmp.Diff(places, found); d != "" {
		t.Error(d)
	}
}

func TestSoundTrialHasNoProblem(t *testing.T) {
	t.Parallel()
	read, problems := trial.Load(folder(t))
	if lines := told(problems); len(lines) > 0 {
		t.Error(strings.Join(lines, "\n"))
	}
	upper := light.Bin{Name: "upper", Rows: 3, Columns: 4, PitchRows: 6, PitchColumns: 5, Lamps: []string{"bar"}, Reservoir: "A"}
	if d := cmp.Diff(upper, read.Rack.Bins[0]); d != "" {
		t.Error(d)
	}
	lux := light.Sensor{
		Name: "upper light", Measures: light.QuantityLux, Position: light.Position{Bin: "upper"},
		Every: time.Minute, MaxGap: 10 * time.Minute, Scale: 1, Low: 0, High: 150000, RelativeError: 0.20,
	}
	if d := cmp.Diff(ingest.Feed{Topic: "rack/upper", TimeFormat: ingest.RFC3339, Sensor: lux, Bins: []light.Bin{upper}}, read.Feeds[0], cmpopts.IgnoreFields(ingest.Feed{}, "Zone")); d != "" {
		t.Error(d)
	}
	if read.Feeds[0].Zone != read.Rack.Zone {
		t.Error("a local time of a sensor is not of the trial's zone")
	}
	if d := cmp.Diff([]trial.Outcome{
		{Outcome: plan.Outcome{Name: "biomass_g", Kind: analysis.Measure, Start: "start_g", Scale: analysis.Log}},
		{Outcome: plan.Outcome{Name: "leaves", Kind: analysis.Count, Scale: analysis.Natural}},
		{Outcome: plan.Outcome{Name: "rooted", Kind: analysis.YesNo, Scale: analysis.Natural}},
	}, read.Outcomes); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff(trial.Page{Listen: "127.0.0.1:8620"}, read.Page); d != "" {
		t.Error(d)
	}
	if d := cmp.Diff([]string{"species", "start_g", "medium"}, read.Columns); d != "" {
		t.Error(d)
	}
	whole := read.Rack.Trial()
	if d := cmp.Diff(trial.Plant{
		Code: "A4", Columns: map[string]string{"species": "two", "start_g": "1.05", "medium": "bark"},
		Place: light.Position{Bin: "lower", Row: 1, Column: 2}, Treatments: map[string]string{"medium": "bark"}, Guard: true,
		Stays: []light.Stay{{Position: light.Position{Bin: "lower", Row: 1, Column: 2}, During: whole}},
		Date:  light.Date{Year: 2026, Month: 6, Day: 14},
	}, read.Plants[3]); d != "" {
		t.Error(d)
	}
}

func TestLoadWithoutTrial(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ name, text, want string }{
		{"none", "", "trial.toml: error: the file can't be read: no such file or directory"},
		{"no TOML", "[trial]\nname = {{\n", "trial.toml:2:9: error: this is not TOML"},
		{"table twice", "[trial]\nname = \"a\"\n[trial]\n", "trial.toml:3:2: error: table trial already exists; put the lines of both under one heading"},
		{"UTF-16", "\xff\xfe[\x00t\x00]\x00", "trial.toml:1:1: error: the file is not UTF-8 but UTF-16"},
		{"Latin-1", "[trial]\nname = \"S\xe3o\"\n", "trial.toml:2:10: error: the file is not UTF-8"},
	} {
		dir := t.TempDir()
		if c.text != "" {
			if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(c.text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		read, problems := trial.Load(dir)
		if read != nil || len(problems) != 1 || !strings.HasPrefix(problems[0].Error(), c.want) {
			t.Errorf("%s: %v, want %s", c.name, problems, c.want)
		}
	}
}

func TestOpenTellsOneLine(t *testing.T) {
	t.Parallel()
	if _, err := trial.Open(folder(t)); err != nil {
		t.Error(err)
	}
	_, err := trial.Open(planted)
	if err == nil || !strings.Contains(err.Error(), "(and 19 more: parstead check ") || strings.Contains(err.Error(), "\n") {
		t.Errorf("%v", err)
	}
}

// A backup brings no passwords back: what was measured can be read without them.
func TestSecretsThatAreNotThereStopTheDaemonAlone(t *testing.T) {
	t.Parallel()
	dir := folder(t)
	path := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, append(text, "\n[page]\ncode_file = \"gone\"\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := trial.Open(dir); err != nil {
		t.Errorf("a command that reads: %v", err)
	}
	if _, err := trial.OpenToRun(dir); err == nil || !strings.Contains(err.Error(), "gone can't be read") {
		t.Errorf("the daemon: %v", err)
	}
	if _, problems := trial.Load(dir); trial.Usable(problems) {
		t.Error("check passes")
	}
}
