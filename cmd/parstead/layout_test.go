package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/correlate"
	"parstead/correlate/plan"
	"parstead/light"
	"parstead/store"
)

const laidTrial = `[trial]
name     = "layout"
timezone = "UTC"
starts   = 2026-03-02
ends     = 2026-03-15
[[lamp]]
name = "bar"
lux_per_ppfd = 67
on  = "07:00"
off = "21:00"
[[bin]]
name = "a"
rows = 4
columns = 4
pitch_cm = [6, 6]
lamp = "bar"
block = "shelf 1"
[[bin]]
name = "b"
rows = 4
columns = 4
pitch_cm = [6, 6]
lamp = "bar"
block = "shelf 1"
[[treatment]]
name = "medium"
levels = ["coir", "bark", "pumice"]
set_per = "plant"
[[outcome]]
name = "mass_g"
kind = "measure"
unit = "g"
basis = "fresh"
start = "start_g"
primary = true
matters = "10%"
[[outcome]]
name = "leaves"
kind = "count"
`

// laid is a trial of 28 plants, four of them guards, on two bins of 16 places,
// one of them surveyed with a gradient of light.
func laid(t *testing.T) (dir string, e *env, out, talk *bytes.Buffer) {
	t.Helper()
	dir = t.TempDir()
	plants := "plant,start_g,guard\n"
	for i := range 28 {
		guard := ""
		if i >= 24 {
			guard = "yes"
		}
		plants += fmt.Sprintf("P%02d,%.1f,%s\n", i, 1+0.1*float64(i), guard)
	}
	survey := "time,bin,row,column,ppfd\n"
	for i := range 16 {
		survey += fmt.Sprintf("2026-03-01 09:%02d,a,%d,%d,%d\n", i, i/4+1, i%4+1, 80+5*i+i%3)
	}
	for name, text := range map[string]string{"trial.toml": laidTrial, "plants.csv": plants, "survey.csv": survey} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	out, talk = &bytes.Buffer{}, &bytes.Buffer{}
	return dir, &env{t.Context(), nil, out, talk, func() time.Time { return time.Date(2026, 3, 2, 6, 0, 0, 0, time.UTC) }}, out, talk
}

// harvestOf is such a trial, dealt by a seed and harvested, and a moment after its
// end.
func harvestOf(t *testing.T, seed int) (dir string, after *env, out, talk *bytes.Buffer) {
	t.Helper()
	dir, after, out, talk = laid(t)
	if err := runAt(after, []string{"layout", dir, "--seed", fmt.Sprint(seed)}); err != nil {
		t.Fatal(err)
	}
	harvest := "plant,mass_g,leaves\n"
	for i := range 24 {
		harvest += fmt.Sprintf("P%02d,%d,%d\n", i, 5+(i*7+seed-1)%11, 2+i%5)
	}
	if err := os.WriteFile(filepath.Join(dir, "harvest.csv"), []byte(harvest), 0o600); err != nil {
		t.Fatal(err)
	}
	out.Reset()
	after.now = func() time.Time { return time.Date(2026, 3, 20, 6, 0, 0, 0, time.UTC) }
	return dir, after, out, talk
}

func readRows(t testing.TB, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // it only read
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// Guards are counted where there are any.
func TestLayoutWithoutGuards(t *testing.T) {
	t.Parallel()
	dir, e, out, _ := laid(t)
	file := filepath.Join(dir, "plants.csv")
	text, err := os.ReadFile(file)
	if err == nil {
		err = os.WriteFile(file, []byte(strings.ReplaceAll(string(text), "yes", "")), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := runAt(e, []string{"layout", dir, "--seed", "7"}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "28 plants dealt to 2 bins; written to ") {
		t.Errorf("%s", out)
	}
}

func TestLayoutDealsAndSealsThePlan(t *testing.T) {
	t.Parallel()
	dir, e, out, _ := laid(t)
	if err := runAt(e, []string{"layout", dir, "--seed", "7"}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"28 plants dealt to 2 bins, 4 of them guards", "Seed 7.", "no light map covers them all",
		"  a: Lamp bar, 07:00 to 21:00. 12 plants; medium coir 4, bark 4, pumice 4; 2\n      guards.\n",
	} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not said: %s", want, out)
		}
	}
	rows := readRows(t, filepath.Join(dir, "layout.csv"))
	if want := []string{"plant", "bin", "row", "column", "medium", "guard"}; !slices.Equal(rows[0], want) {
		t.Errorf("heading %v", rows[0])
	}
	media := map[string]int{}
	for _, r := range rows[1:] {
		corner := (r[2] == "1" || r[2] == "4") && (r[3] == "1" || r[3] == "4")
		if r[5] == "yes" {
			if !corner || r[4] != "" {
				t.Errorf("guard %v", r)
			}
			continue
		}
		media[r[1]+" "+r[4]]++
	}
	for _, n := range media {
		if n != 4 || len(media) != 6 {
			t.Errorf("media by bin: %v", media)
			break
		}
	}
	if err := runAt(e, []string{"check", dir}); err != nil {
		t.Errorf("the layout does not pass check: %v %s", err, out)
	}
	view, err := store.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	plan, err := plan.Last(log)
	if err != nil || plan == nil || len(log) != 1 || log[0].Kind != light.Dealt {
		t.Fatalf("log %+v, %v", log, err)
	}
	if len(plan.Plants) != 28 || len(plan.Outcomes) != 2 || plan.Layout.Seed != 7 || !plan.Outcomes[0].Primary {
		t.Errorf("plan %+v", plan)
	}

	// Never replaced; the same seed elsewhere deals the same.
	before, err := os.ReadFile(filepath.Join(dir, "layout.csv"))
	if err != nil {
		t.Fatal(err)
	}
	if err := runAt(e, []string{"layout", dir}); err == nil || !strings.Contains(err.Error(), "never replaced") {
		t.Errorf("a second layout: %v", err)
	}
	again, e2, _, _ := laid(t)
	if err := runAt(e2, []string{"layout", again, "--seed", "7"}); err != nil {
		t.Fatal(err)
	}
	after, err := os.ReadFile(filepath.Join(again, "layout.csv"))
	if err != nil || !bytes.Equal(before, after) {
		t.Errorf("the same seed dealt another layout: %v", err)
	}
}

// plannedHarvest is such a trial, dealt by a seed, with a harvest that holds a plant
// of each fate; put writes one of its files, get correlates it.
func plannedHarvest(t *testing.T) (dir string, put func(name, text string), get func() correlate.Result) {
	t.Helper()
	dir, e, out, _ := laid(t)
	if err := runAt(e, []string{"layout", dir, "--seed", "7"}); err != nil {
		t.Fatal(err)
	}
	rows := readRows(t, filepath.Join(dir, "layout.csv"))
	survey, err := os.ReadFile(filepath.Join(dir, "survey.csv"))
	if err != nil {
		t.Fatal(err)
	}
	other := strings.ReplaceAll(string(survey[strings.Index(string(survey), "\n")+1:]), ",a,", ",b,")
	harvest := "plant,mass_g,leaves,status,cause,leave_out,mass_g_again\n"
	for i, r := range rows[1:] {
		mass := 10 + float64(i%7) + map[string]float64{"bark": 8}[r[4]]
		switch i {
		case 3:
			harvest += r[0] + ",,,lost,rot,,\n"
		case 4:
			harvest += fmt.Sprintf("%s,%.1f,%d,,,fell over,\n", r[0], mass, 4+i%5)
		case 5:
			harvest += fmt.Sprintf("%s,%.1f,%d,,,,%.1f\n", r[0], mass, 4+i%5, mass+0.2)
		default:
			harvest += fmt.Sprintf("%s,%.1f,%d,,,,\n", r[0], mass, 4+i%5)
		}
	}
	put = func(name, text string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("harvest.csv", harvest)
	put("survey.csv", string(survey)+other)
	e.now = func() time.Time { return time.Date(2026, 3, 20, 6, 0, 0, 0, time.UTC) }
	get = func() correlate.Result {
		t.Helper()
		out.Reset()
		if err := runAt(e, []string{"correlate", dir, "--json"}); err != nil {
			t.Fatal(err)
		}
		var r correlate.Result
		if err := json.Unmarshal(out.Bytes(), &r); err != nil {
			t.Fatal(err)
		}
		return r
	}
	return dir, put, get
}

// A harvest of a dealt trial: planned, dealt anew by the layout's procedure;
// then a changed plan is a departure, and a changed label ends the re-dealing.
func TestCorrelateFolderKnowsThePlan(t *testing.T) {
	t.Parallel()
	dir, put, get := plannedHarvest(t)
	r := get()
	mass := r.Outcomes[0]
	if !mass.Planned || !mass.Primary || mass.Scale != correlate.Log || len(r.Departures) != 0 {
		t.Errorf("planned %v, primary %v, scale %s, departures %q", mass.Planned, mass.Primary, mass.Scale, r.Departures)
	}
	medium := effectOf(t, mass.Effects, "medium")
	if beside := effectOf(t, r.Outcomes[1].Effects, "medium"); medium.PRedealt == nil || medium.PFDR != nil || beside.PFDR != nil && *beside.PFDR > 0.05 {
		t.Errorf("medium %+v", medium)
	}
	for _, name := range []string{"leave_out", "repeatability", "redeal", "equal_slopes"} {
		if !slices.ContainsFunc(mass.Checks, func(c correlate.Check) bool { return string(c.Check) == name }) {
			t.Errorf("no check %s", name)
		}
	}
	lost := 0
	for _, l := range r.Lost {
		lost += l.Lost
	}
	if lost == 0 || len(r.OutcomeCorrelations) != 1 {
		t.Errorf("lost %+v, correlations %+v", r.Lost, r.OutcomeCorrelations)
	}
	if mass.Missing != 1 {
		t.Errorf("missing %d, want the lost plant", mass.Missing)
	}

	put("trial.toml", strings.Replace(laidTrial, `matters = "10%"`, `matters = "20%"`, 1))
	if r = get(); r.Outcomes[0].Planned || len(r.Departures) != 1 || !strings.Contains(r.Departures[0], "matters was 10 % and is 20 %") {
		t.Errorf("a changed plan: %q", r.Departures)
	}
	put("trial.toml", laidTrial)
	text, err := os.ReadFile(filepath.Join(dir, "layout.csv"))
	if err != nil {
		t.Fatal(err)
	}
	put("layout.csv", strings.Replace(string(text), ",coir,", ",bark,", 1))
	r = get()
	if effectOf(t, r.Outcomes[0].Effects, "medium").PRedealt != nil || len(r.Departures) != 1 {
		t.Errorf("a changed label: %q", r.Departures)
	}
}

// Read before the end: said in the findings and kept in the log.
func TestCorrelateFolderStampsAnEarlyLook(t *testing.T) {
	t.Parallel()
	dir, e, out, talk := laid(t)
	if err := runAt(e, []string{"layout", dir, "--seed", "1"}); err != nil {
		t.Fatal(err)
	}
	harvest := "plant,mass_g\n"
	for i := range 24 {
		harvest += fmt.Sprintf("P%02d,%d\n", i, 5+(i*7)%11)
	}
	if err := os.WriteFile(filepath.Join(dir, "harvest.csv"), []byte(harvest), 0o600); err != nil {
		t.Fatal(err)
	}
	e.now = func() time.Time { return time.Date(2026, 3, 10, 6, 0, 0, 0, time.UTC) }
	out.Reset()
	if err := runAt(e, []string{"correlate", dir}); err != nil {
		t.Fatal(err, talk)
	}
	if !strings.Contains(strings.Join(strings.Fields(out.String()), " "), "an early look, before the trial ends") {
		t.Errorf("not said: %s", out)
	}
	view, err := store.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(t.Context())
	if err != nil || log[len(log)-1].Kind != light.Looked {
		t.Errorf("%d entries in the log, %v, %s", len(log), err, talk)
	}
}

// A level goes only to bins that can have it; what was dealt is printed, and what it
// can't settle is said at once.
func TestLayoutTiesLevelsToBins(t *testing.T) {
	t.Parallel()
	dir, e, out, talk := laid(t)
	text := strings.Replace(laidTrial, "[[outcome]]", `[[treatment]]
name = "light_level"
levels = ["low", "high"]
set_per = "bin"
sets = "light"
only_bins = { low = ["b"] }
[[outcome]]`, 1)
	file := filepath.Join(dir, "trial.toml")
	if err := os.WriteFile(file, []byte(strings.Replace(text, `["b"] }`, `["b"], high = ["b"] }`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := runAt(e, []string{"layout", dir}); err == nil || !strings.Contains(err.Error(), `only_bins leaves the bin "a" no level of light_level`) {
		t.Errorf("%v", err)
	}
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := runAt(e, []string{"layout", dir, "--seed", "7"}); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"  a: light_level high. Lamp bar", "  b: light_level low. Lamp bar", "as far as bins can have the level (low only to b)"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not said: %s", want, out)
		}
	}
	if want := "nothing can be concluded on light_level: with 2 bins for 2 levels"; !strings.Contains(talk.String(), want) {
		t.Errorf("%q is not said: %s", want, talk)
	}
	layout := filepath.Join(dir, "layout.csv")
	dealt, err := os.ReadFile(layout)
	if err != nil {
		t.Fatal(err)
	}
	turned := strings.NewReplacer(",low", ",high", ",high", ",low").Replace(string(dealt))
	if err := os.WriteFile(layout, []byte(turned), 0o600); err != nil {
		t.Fatal(err)
	}
	out.Reset()
	if err := runAt(e, []string{"check", dir}); err == nil || !strings.Contains(out.String(), `error: the bin "a" has light_level low, which by only_bins only b can have`) {
		t.Errorf("%v: %s", err, out)
	}
}
