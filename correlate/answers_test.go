package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"

	"parstead/correlate/phrase"
)

// rack is a made-up trial of whole numbers of bins with two treatments of two
// or three levels, light and a measure, without any effect.
func rack(seed uint64, bins, perBin int) *Input {
	rng := rand.New(rand.NewPCG(4, seed))
	in := &Input{Bin: &Factor{Name: "bin"}, Light: &Light{Name: "light", Unit: "mol m⁻² d⁻¹"}}
	medium := Factor{Name: "medium", Levels: []string{"bark", "coir", "moss"}}
	level := Factor{Name: "level", Levels: []string{"low", "high"}}
	o := Outcome{Name: "mass_g", Unit: "g", Kind: Measure, Scale: Natural}
	for b := range bins {
		in.Bin.Levels = append(in.Bin.Levels, fmt.Sprint("b", b))
		for p := range perBin {
			in.Plants = append(in.Plants, fmt.Sprint("p", len(in.Plants)))
			in.Bin.Codes = append(in.Bin.Codes, b)
			medium.Codes = append(medium.Codes, p%3)
			level.Codes = append(level.Codes, b%2)
			l := 4 + float64(b%2) + 0.1*float64(b) + 0.5*rng.NormFloat64()
			in.Light.Values = append(in.Light.Values, l)
			o.Values = append(o.Values, 5+0.2*l+rng.NormFloat64())
		}
	}
	in.Treatments = []Treatment{{Factor: medium, SetPer: PerPlant}, {Factor: level, SetPer: PerBin}}
	in.Outcomes = []Outcome{o}
	return in
}

func result(t *testing.T, in *Input, opts Options) *Result {
	t.Helper()
	opts.Seed = 1
	r, err := Analyse(t.Context(), in, opts)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func effect(t *testing.T, o OutcomeResult, name string) Effect {
	t.Helper()
	i := slices.IndexFunc(o.Effects, func(e Effect) bool { return e.Effect == name })
	if i < 0 {
		t.Fatalf("no effect %s in %+v", name, o.Effects)
	}
	return o.Effects[i]
}

func comparisons(o OutcomeResult, treatment string) []Comparison {
	return slices.DeleteFunc(slices.Clone(o.Comparisons), func(c Comparison) bool { return c.Treatment != treatment })
}

func check(o OutcomeResult, name string) (Check, bool) {
	i := slices.IndexFunc(o.Checks, func(c Check) bool { return string(c.Check) == name })
	if i < 0 {
		return Check{}, false
	}
	return o.Checks[i], true
}

func told(o OutcomeResult) string { return strings.Join(sentencesOf(o), "\n") }

func sentencesOf(o OutcomeResult) []string {
	says := make([]string, len(o.Findings))
	for i, f := range o.Findings {
		says[i] = f.Says
	}
	return says
}

func approx(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	if got == nil || !(math.Abs(*got-want) <= tolerance*math.Max(1, math.Abs(want))) {
		t.Errorf("%s: %v, want %g", what, got, want)
	}
}

// untold is an effect without what hangs on the questions that were asked beside it.
func untold(e Effect) Effect {
	e.PFDR, e.Standing = nil, Standing{}
	return e
}

// A treatment that acts through light has the results of the same trial whose
// light nobody measured, per plant and per bin, whatever is counted or weighed.
func TestSetsLightIsNeverAdjustedForLight(t *testing.T) {
	t.Parallel()
	for _, kind := range []Kind{Measure, Count, YesNo} {
		for sets, other := range []int{1, 0} {
			in := rack(1, 6, 24)
			in.Outcomes[0].Kind = kind
			for i, v := range in.Outcomes[0].Values {
				switch kind {
				case Count:
					in.Outcomes[0].Values[i] = math.Max(0, math.Round(v))
				case YesNo:
					in.Outcomes[0].Values[i] = float64(int(math.Abs(10*v)) % 2)
				}
			}
			in.Treatments[sets].SetsLight = true
			name := in.Treatments[sets].Name
			lit := result(t, in, Options{}).Outcomes[0]
			in.Light = nil
			dark := result(t, in, Options{}).Outcomes[0]
			if a, b := untold(effect(t, lit, name)), untold(effect(t, dark, name)); kind != YesNo && !reflect.DeepEqual(a, b) {
				t.Errorf("%s, %s: %+v, without light %+v", kind, name, a, b)
			}
			got, want := comparisons(lit, name), comparisons(dark, name)
			for i := range got {
				got[i].Standing, want[i].Standing = Standing{}, Standing{} // among other questions
			}
			if kind != YesNo && !reflect.DeepEqual(got, want) {
				t.Errorf("%s, %s: comparisons %+v, without light %+v", kind, name, got, want)
			}
			for _, c := range got {
				if c.WithoutLight != nil {
					t.Errorf("%s, %s: without_light beside what never had light: %+v", kind, name, c)
				}
			}
			adjusted := in.Treatments[other]
			for _, c := range comparisons(lit, adjusted.Name) {
				if c.WithoutLight == nil {
					t.Errorf("%s, %s: no without_light", kind, adjusted.Name)
				}
			}
			if kind == Measure && strings.Contains(told(lit), name+": no difference in mass_g was shown (p "+phrase.P(*effect(t, lit, name).P)+", whole bins are the replicates, adjusted for light") {
				t.Errorf("said to be adjusted for light: %s", told(lit))
			}
		}
	}
}

// Treatments per reservoir: the test among reservoirs is the one-way analysis of
// their means, worked out here by hand; bins and plants are no replicates.
func TestPerReservoir(t *testing.T) {
	t.Parallel()
	in := rack(2, 12, 6)
	in.Light = nil
	in.Reservoir = &Factor{Name: "reservoir", Levels: []string{"A", "B", "C", "D", "E", "F"}}
	level := &in.Treatments[1]
	level.SetPer = PerReservoir
	means := make([]float64, 6)
	for i, b := range in.Bin.Codes {
		in.Reservoir.Codes = append(in.Reservoir.Codes, b/2)
		level.Codes[i] = b / 2 % 2
		means[b/2] += in.Outcomes[0].Values[i] / 12
	}
	o := result(t, in, Options{}).Outcomes[0]
	var level0, level1 float64
	for r, m := range means {
		if r%2 == 0 {
			level0 += m / 3
		} else {
			level1 += m / 3
		}
	}
	var within float64
	for r, m := range means {
		d := m - []float64{level0, level1}[r%2]
		within += d * d
	}
	f := (level1 - level0) * (level1 - level0) * 3 / 2 / (within / 4)
	e := effect(t, o, "level")
	approx(t, "F", e.Value, f, 1e-10)
	if e.Unit != "reservoir" || fmt.Sprint(e.DF) != "[1 4]" {
		t.Errorf("effect %+v", e)
	}
	c := comparisons(o, "level")
	if len(c) != 1 || c[0].Unit != "reservoir" {
		t.Fatalf("comparisons %+v", c)
	}
	approx(t, "difference", c[0].Difference, level1-level0, 1e-10)
	if medium := effect(t, o, "medium"); medium.Unit != "plant" {
		t.Errorf("medium %+v", medium)
	}
	if !strings.Contains(told(o), "whole reservoirs are the replicates") {
		t.Error(told(o))
	}
}

// Light that does more on one medium than on another is told by the check of
// equal slopes, for light and for covariates.
func TestSlopesThatDiffer(t *testing.T) {
	t.Parallel()
	for _, differ := range []bool{false, true} {
		in := rack(3, 4, 30)
		in.Covariates = []Column{{Name: "start", Values: slices.Clone(in.Light.Values)}}
		rng := rand.New(rand.NewPCG(5, 5))
		for i := range in.Plants {
			in.Covariates[0].Values[i] = rng.NormFloat64()
			if differ && in.Treatments[0].Codes[i] == 2 {
				in.Outcomes[0].Values[i] += 1.5*in.Light.Values[i] + 2*in.Covariates[0].Values[i]
			}
		}
		o := result(t, in, Options{}).Outcomes[0]
		seen := 0
		for _, c := range o.Checks {
			if c.Check == "equal_slopes" && strings.HasSuffix(c.Of, "× medium") {
				seen++
				if (*c.P < 0.001) != differ || strings.Contains(c.Says, "differs") != differ {
					t.Errorf("slopes differ: %v; %s: p %g, %s", differ, c.Of, *c.P, c.Says)
				}
			}
		}
		if seen != 2 {
			t.Errorf("%d slopes were looked at: %s", seen, says(o))
		}
	}
}

// Where two treatments depend on one another, findings speak of cells.
func TestDependentTreatmentsAreToldByCells(t *testing.T) {
	t.Parallel()
	in := rack(6, 4, 30)
	in.Light = nil
	in.Treatments[1].SetPer = PerPlant
	for i := range in.Plants {
		in.Treatments[1].Codes[i] = i / 3 % 2
		if in.Treatments[0].Codes[i] == 1 && in.Treatments[1].Codes[i] == 1 {
			in.Outcomes[0].Values[i] += 4
		}
	}
	text := told(result(t, in, Options{Interactions: true}).Outcomes[0])
	if !strings.Contains(text, "medium × level: what one does depends on the other (p below 0.001)") || !strings.Contains(text, "level high lies above low in mass_g on medium coir: +") {
		t.Error(text)
	}
	for _, average := range []string{"\nmedium: ", "\nlevel: ", "\nmedium coir lies", "\nlevel high lies", "Between medium coir and bark"} {
		if slices.ContainsFunc(strings.Split("\n"+text, "\n"), func(line string) bool {
			return strings.Contains("\n"+line, average) && !strings.Contains(line, " on ")
		}) {
			t.Errorf("%q is an average over what it depends on:\n%s", average, text)
		}
	}
	if text = told(result(t, in, Options{}).Outcomes[0]); strings.Contains(text, "depends on the other") {
		t.Errorf("nobody asked for interactions: %s", text)
	}
}

// Where light cannot stay in the model, plants that were missing only for want
// of their light come back, and the bin treatment keeps its replicates.
func TestLightLeftOutBringsItsPlantsBack(t *testing.T) {
	t.Parallel()
	in := rack(5, 6, 12)
	for i, b := range in.Bin.Codes {
		in.Light.Values[i] = float64(4 + b) // one figure a bin: not to be told from the bins
		if b == 5 {
			in.Light.Values[i] = math.NaN()
		}
	}
	o := result(t, in, Options{}).Outcomes[0]
	if o.N != 72 || o.Missing != 0 {
		t.Errorf("%d plants, %d missing; want 72 and none", o.N, o.Missing)
	}
	if o.Light != nil {
		t.Error("light has a slope")
	}
	if c, ok := check(o, "light"); !ok || !strings.Contains(c.Says, "left out of the model") {
		t.Errorf("the checks do not say that light was left out: %+v", o.Checks)
	}
	if got := effect(t, o, "level"); got.P == nil || got.DF[1] != 4 {
		t.Errorf("level over six bins: %+v", got)
	}
}
