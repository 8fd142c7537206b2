package trial_test

import (
	"fmt"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
)

// rackOf is trial.toml with such bins, plants a bin (all of one kind) and keys of
// a treatment of whole bins; what is dealt goes by bin. Invented data.
func rackOf(t *testing.T, bins, plants int, block bool, dealt []string, treatment string, edits ...edit) []trial.Problem {
	t.Helper()
	var text, sheet, layout strings.Builder
	text.WriteString(`[trial]
name = "rack"
timezone = "UTC"
starts = 2026-03-02
ends = 2026-06-14
[broker]
url = "tcp://127.0.0.1:1883"
`)
	for b := range bins {
		fmt.Fprintf(&text, "[[lamp]]\nname = \"bar %d\"\nlux_per_ppfd = 67.0\nwatts = %d\non = \"07:00\"\noff = \"21:00\"\n", b, 40+10*b)
	}
	for b := range bins {
		fmt.Fprintf(&text, "[[bin]]\nname = \"bin %d\"\nrows = 10\ncolumns = 12\npitch_cm = [6, 6]\nlamp = \"bar %d\"\n", b, b)
		if block {
			fmt.Fprintf(&text, "block = \"shelf %d\"\n", b/2)
		}
		fmt.Fprintf(&text, "[[sensor]]\nname = \"light %d\"\nmeasures = \"lux\"\nbin = \"bin %d\"\ntopic = \"light/%d\"\n", b, b, b)
	}
	text.WriteString(treatment + "[[outcome]]\nname = \"mass_g\"\nkind = \"measure\"\nstart = \"start_g\"\nprimary = true\nmatters = \"10%\"\n")
	sheet.WriteString("plant,species,start_g\n")
	layout.WriteString("plant,bin,row,column,light_level\n")
	for b := range bins {
		for i := range plants {
			fmt.Fprintf(&sheet, "P%d-%d,fern,1\n", b, i)
			if dealt != nil {
				fmt.Fprintf(&layout, "P%d-%d,bin %d,%d,%d,%s\n", b, i, b, i/12+1, i%12+1, dealt[b])
			}
		}
	}
	files := []edit{{"trial.toml", sound["trial.toml"], text.String()}, {"plants.csv", sound["plants.csv"], sheet.String()}}
	if dealt != nil {
		files = append(files, edit{"layout.csv", sound["layout.csv"], layout.String()})
	} else {
		files = append(files, edit{"layout.csv", sound["layout.csv"], ""})
	}
	dir := folder(t, append(files, edits...)...)
	if dealt == nil {
		remove(t, dir, "layout.csv")
	}
	_, problems := trial.Load(dir)
	return problems
}

const (
	levelOfLight = "[[treatment]]\nname = \"light_level\"\nlevels = [\"low\", \"high\"]\nset_per = \"bin\"\nsets = \"light\"\n"
	mediumOfOne  = "[[treatment]]\nname = \"medium\"\nlevels = [\"coir\", \"bark\"]\nset_per = \"plant\"\n"
)

// What a design can't settle is told before the season. 106 plants a level for 10 %
// at a spread of 25 %: R 4.5, power.t.test(delta = log(1.1), sd = sqrt(log(1 +
// 0.25^2)), power = 0.8) gives 105.7.
func TestDesignsAreJudged(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		problems []trial.Problem
		want     []string // a piece of each warning
	}{
		"one bin a level":                  {rackOf(t, 2, 110, false, nil, levelOfLight), []string{"nothing can be concluded on light_level: with 2 bins for 2 levels"}},
		"dealt so":                         {rackOf(t, 2, 110, false, []string{"low", "high"}, levelOfLight), []string{"nothing can be concluded on light_level: with 2 bins for 2 levels"}},
		"two each, on shelves of two":      {rackOf(t, 4, 20, true, nil, levelOfLight), []string{"too few for light_level: with 2 bins a level differences in mass_g show from "}},
		"enough bins for what matters":     {rackOf(t, 30, 20, false, nil, levelOfLight), nil},
		"few plants":                       {rackOf(t, 2, 20, false, nil, mediumOfOne), []string{"too few for medium: with 20 plants a level differences in mass_g show from 25 % on, and 10 % matters (plants treated alike taken to differ by 25 %); 106 a level would do"}},
		"enough plants":                    {rackOf(t, 2, 110, false, nil, mediumOfOne), nil},
		"shelves take what bins leave":     {rackOf(t, 3, 110, true, nil, levelOfLight), []string{"with 3 bins for 2 levels"}},
		"the season is over":               {rackOf(t, 2, 20, false, []string{"low", "high"}, levelOfLight, edit{"harvest.csv", "", "plant,mass_g\nP0-0,3\n"}), nil},
		"one plant with a slip":            {rackOf(t, 2, 110, false, nil, mediumOfOne, edit{"trial.toml", "ends = 2026-06-14\n", "ends = 2026-06-14\nanalyse_by = \"species\"\n"}, edit{"plants.csv", "P1-9,fern", "P1-9,Fren"}), []string{`plants.csv:121:6: warning: only the plant P1-9 has the species "Fren", and 219 plants have "fern"; write fern`}},
		"a species of one plant":           {rackOf(t, 2, 110, false, nil, mediumOfOne, edit{"trial.toml", "ends = 2026-06-14\n", "ends = 2026-06-14\nanalyse_by = \"species\"\n"}, edit{"plants.csv", "P1-9,fern", "P1-9,moss"}), nil},
		"mothers that are numbered":        {rackOf(t, 2, 110, false, nil, mediumOfOne, edit{"trial.toml", "ends = 2026-06-14\n", "ends = 2026-06-14\nanalyse_by = \"species\"\n"}, edit{"plants.csv", "P1-9,fern", "P1-9,fern 2"}), nil},
		"a target against its level":       {rackOf(t, 2, 110, false, []string{"low", "high"}, levelOfLight, edit{"trial.toml", `lamp = "bar 0"`, "lamp = \"bar 0\"\ntarget_dli = 7"}, edit{"trial.toml", `lamp = "bar 1"`, "lamp = \"bar 1\"\ntarget_dli = 4"}), []string{"nothing can", `the bin "bin 0" got low and is meant to get 7 mol a day, the bin "bin 1" got high and is meant to get 4 mol a day`}},
		"a level with two targets":         {rackOf(t, 3, 110, false, []string{"low", "low", "high"}, levelOfLight, edit{"trial.toml", `lamp = "bar 0"`, "lamp = \"bar 0\"\ntarget_dli = 3"}, edit{"trial.toml", `lamp = "bar 1"`, "lamp = \"bar 1\"\ntarget_dli = 5"}), []string{"too few", `"bin 1" got low and is meant to get 5 mol a day, the bin "bin 0" got low and is meant to get 3`}},
		"the strongest lamp for low":       {rackOf(t, 2, 110, false, []string{"high", "low"}, levelOfLight), []string{"nothing can", `the bin "bin 1" got low and has lamps of 50 W, the bin "bin 0" got high and has lamps of 40 W`}},
		"called by light, without the key": {rackOf(t, 2, 110, false, []string{"high", "low"}, strings.Replace(levelOfLight, "sets = \"light\"\n", "", 1)), []string{"nothing can", `the bin "bin 1" got low and has lamps of 50 W`}},
		"the brightest walk for low":       {rackOf(t, 2, 110, false, []string{"low", "high"}, levelOfLight, edit{"survey.csv", "", "time,bin,row,column,ppfd\n2026-03-03 12:00,bin 0,1,1,190\n2026-03-03 12:05,bin 1,1,1,80\n"}), []string{"nothing can", `got low and had 190 on average when it was last walked`}},
		"levels without an order":          {rackOf(t, 2, 110, false, []string{"b", "a"}, strings.Replace(levelOfLight, `"low", "high"`, `"a", "b"`, 1)), []string{"nothing can"}},
		"numbers as levels, as it is":      {rackOf(t, 2, 110, false, []string{"45 µmol", "130 µmol"}, strings.Replace(levelOfLight, `"low", "high"`, `"130 µmol", "45 µmol"`, 1)), []string{"nothing can"}},
		"numbers as levels, turned":        {rackOf(t, 2, 110, false, []string{"130 µmol", "45 µmol"}, strings.Replace(levelOfLight, `"low", "high"`, `"130 µmol", "45 µmol"`, 1)), []string{"nothing can", "has lamps of 50 W"}},
		"a walk in lux written as ppfd":    {rackOf(t, 1, 110, false, nil, mediumOfOne, edit{"trial.toml", `lamp = "bar 0"`, "lamp = \"bar 0\"\ntarget_dli = 4.3"}, edit{"survey.csv", "", "time,bin,row,column,ppfd\n2026-03-03 12:00,bin 0,1,1,2900\n"}), []string{"with the lamp's 14 hours makes 146", "with 55 plants"}},
		"light beyond the sun's":           {rackOf(t, 2, 110, false, nil, mediumOfOne, edit{"survey.csv", "", "time,bin,row,column,lux\n2026-03-03 12:00,bin 0,1,1,180000\n"}), []string{"180000 lx is more than the sun gives"}},
		"a week that was a year":           {rackOf(t, 2, 110, false, nil, mediumOfOne, edit{"trial.toml", "ends = 2026-06-14", "ends = 2027-06-14"}), []string{"the trial lasts 470 days"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			lines := told(c.problems)
			if len(lines) != len(c.want) {
				t.Fatalf("told:\n%s", strings.Join(lines, "\n"))
			}
			for _, want := range c.want {
				if !strings.Contains(strings.Join(lines, "\n"), want) {
					t.Errorf("no word of %q:\n%s", want, strings.Join(lines, "\n"))
				}
			}
		})
	}
}
