package correlate

import (
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"

	"parstead/correlate/tables"
)

// table is a small input: a treatment a, b, … of n plants each.
func small(levels, n int, y func(level, i int) float64) *Input {
	in := &Input{Table: true}
	f := Factor{Name: "g"}
	o := Outcome{Name: "y", Kind: Measure}
	for l := range levels {
		f.Levels = append(f.Levels, string(rune('a'+l)))
		for i := range n {
			in.Plants = append(in.Plants, fmt.Sprint("line ", len(in.Plants)+2))
			f.Codes = append(f.Codes, l)
			o.Values = append(o.Values, y(l, i))
		}
	}
	in.Treatments = []Treatment{{Factor: f, SetPer: PerPlant}}
	in.Outcomes = []Outcome{o}
	return in
}

// analysed demands results without NaN or infinity, as the JSON encoder does.
func analysed(t *testing.T, in *Input) OutcomeResult {
	t.Helper()
	r, err := Analyse(t.Context(), in, Options{Seed: 1})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := json.Marshal(r); err != nil {
		t.Fatalf("the results hold no number: %v", err)
	}
	if err := tables.WriteFull(new(strings.Builder), "", r); err != nil {
		t.Fatal(err)
	}
	return r.Outcomes[0]
}

func says(o OutcomeResult) string {
	var all []string
	for _, c := range o.Checks {
		all = append(all, string(c.Check)+": "+c.Says)
	}
	return strings.Join(all, "\n")
}

// What data can be, and what must come of it: a reason, never NaN, a made-up
// zero or a crash.
func TestBadInput(t *testing.T) {
	t.Parallel()
	wave := func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) }
	for name, c := range map[string]struct {
		in      *Input
		want    string
		without bool // no model
	}{
		"constant outcome":      {small(2, 5, func(int, int) float64 { return 3 }), "every row has the same value", true},
		"one level":             {small(1, 5, wave), "it cannot be compared with anything", true},
		"one plant a cell":      {small(4, 1, wave), "no row is left to measure the spread by", true},
		"all missing":           {small(2, 5, func(int, int) float64 { return math.NaN() }), "no plant has y", true},
		"1e300":                 {small(2, 5, func(l, i int) float64 { return 1e300 * wave(l, i) }), "1e+70", true},
		"nothing but levels":    {small(3, 4, func(l, _ int) float64 { return float64(l) }), "the model repeats every value", false},
		"one plant of a level":  {lonely(), "each stand alone in their cell", false},
		"collinear covariates":  {collinear(), `cannot be told apart from "x"`, true},
		"counts without events": {counts(func(int, int) float64 { return 0 }), "not a single event", true},
		"a level without events": {counts(func(l, i int) float64 {
			if l == 1 {
				return 0
			}
			return float64(1 + i%3)
		}), "a level has not one event: no F test holds then", false},
		"no to all":            {answers(func(int, int) float64 { return 0 }), "odds ratio", false},
		"yes to all of one":    {answers(func(l, _ int) float64 { return float64(l) }), "one of the answers never came", false},
		"light like bins":      {likeBins(), "light was left out of the model", false},
		"two bins, two levels": {twoBins(), "each level has one bin", false},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			o := analysed(t, c.in)
			if !strings.Contains(says(o), c.want) {
				t.Errorf("the checks do not say %q:\n%s", c.want, says(o))
			}
			if c.without != (o.Model == "") {
				t.Errorf("model %q", o.Model)
			}
			if len(o.Findings) == 0 && c.without {
				t.Error("no finding says why")
			}
		})
	}
}

func lonely() *Input {
	in := small(2, 6, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
	in.Treatments[0].Levels = append(in.Treatments[0].Levels, "c")
	in.Treatments[0].Codes[0] = 2
	return in
}

func collinear() *Input {
	in := small(2, 6, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
	x := make([]float64, 12)
	twice := make([]float64, 12)
	for i := range x {
		x[i] = math.Cos(float64(5 * i))
		twice[i] = 2 * x[i]
	}
	in.Covariates = []Column{{Name: "x", Values: x}, {Name: "x2", Values: twice}}
	return in
}

func counts(y func(l, i int) float64) *Input {
	in := small(3, 8, y)
	in.Outcomes[0].Kind = Count
	return in
}

func answers(y func(l, i int) float64) *Input {
	in := small(2, 8, y)
	in.Outcomes[0].Kind = YesNo
	return in
}

func likeBins() *Input {
	in := small(2, 8, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
	bin := &Factor{Name: "bin", Levels: []string{"1", "2"}}
	light := make([]float64, 16)
	for i := range light {
		bin.Codes = append(bin.Codes, i/2%2)
		light[i] = 4 + float64(i/2%2)
	}
	in.Bin, in.Light = bin, &Light{Name: "light", Values: light}
	return in
}

func twoBins() *Input {
	in := small(2, 8, func(l, i int) float64 { return float64(l) + math.Sin(float64(7*i+3*l)) })
	in.Treatments[0].SetPer = PerBin
	in.Bin = &Factor{Name: "bin", Levels: []string{"1", "2"}, Codes: in.Treatments[0].Codes}
	return in
}

// One bin per level: only effect and unit stand.
func TestOneBinPerLevelIsDescribedNotTested(t *testing.T) {
	t.Parallel()
	o := analysed(t, twoBins())
	if len(o.Effects) != 2 || o.Effects[1].Effect != "g" || o.Effects[1].Unit != "bin" || o.Effects[1].P != nil || o.Effects[1].Test != "" || o.Effects[1].DF != nil {
		t.Errorf("effects %+v", o.Effects)
	}
	if len(o.Comparisons) != 0 || len(o.Groups) != 2 || o.Groups[0].AdjustedMean != nil {
		t.Errorf("groups %+v, comparisons %+v", o.Groups, o.Comparisons)
	}
}
