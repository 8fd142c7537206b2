package correlate

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"parstead/correlate/analysis"
)

// spoilt is a flat table of 240 plants in six bins with two media, whose log rate or log
// odds at a light from −1 to 1 is as said, and whose counts vary as said.
func spoilt(kind Kind, eta func(medium int, light float64) float64, clump func(medium int) float64) *Input {
	rng := rand.New(rand.NewPCG(21, 7))
	in := rack(3, 6, 40)
	in.Table = true
	medium := Factor{Name: "medium", Levels: []string{"bark", "coir"}}
	o := &in.Outcomes[0]
	o.Name, o.Unit, o.Kind, o.Scale = "leaves", "", kind, ""
	for i := range in.Plants {
		m, light := rng.IntN(2), 2*rng.Float64()-1
		medium.Codes, in.Light.Values[i] = append(medium.Codes, m), light
		v := eta(m, light)
		switch k := clump(m); {
		case kind == YesNo:
			o.Values[i] = 0
			if rng.Float64() < 1/(1+math.Exp(-v)) {
				o.Values[i] = 1
			}
		case rng.Float64() < k:
			o.Values[i] = poisson(rng, math.Exp(v)/k)
		default:
			o.Values[i] = 0
		}
	}
	in.Treatments = []Treatment{{Factor: medium, SetPer: PerPlant}}
	return in
}

func cautions(o *OutcomeResult) (all string) {
	for _, f := range o.Findings {
		if f.Kind == analysis.Caution {
			all += f.Says + "\n"
		}
	}
	return all
}

// What weakens sentences on a measure is said of counts and of answers too, before them;
// nothing is said where nothing weakens them.
func TestWhatSpoilsCountsAndAnswersIsSaid(t *testing.T) {
	t.Parallel()
	whole := func(int) float64 { return 1 }
	for name, c := range map[string]struct {
		kind  Kind
		eta   func(medium int, light float64) float64
		clump func(medium int) float64
		says  string // "" where nothing weakens
	}{
		"counts": {Count, func(_ int, l float64) float64 { return 2 + 0.3*l }, whole, ""},
		"slopes of counts": {
			Count, func(m int, l float64) float64 { return 2 + 0.5*l*float64(2*m-1) }, whole,
			"what light does differs between the levels of medium",
		},
		"slopes of answers": {
			YesNo, func(m int, l float64) float64 { return 2 * l * float64(2*m-1) }, whole,
			"what light does differs between the levels of medium",
		},
		"a hump of counts":  {Count, func(_ int, l float64) float64 { return 2 - l*l }, whole, "The response to light bends"},
		"a hump of answers": {YesNo, func(_ int, l float64) float64 { return 1 - 4*l*l }, whole, "The response to light bends"},
		"spread of counts": {
			Count, func(int, float64) float64 { return 2 }, func(m int) float64 { return 1 - 0.6*float64(m) },
			"Plants do not spread alike in all treatments",
		},
	} {
		r := result(t, spoilt(c.kind, c.eta, c.clump), Options{Seed: 1})
		o := &r.Outcomes[0]
		got := cautions(o)
		for _, says := range []string{"differs between the levels", "response to light bends", "do not spread alike"} {
			if c.says == "" && strings.Contains(got, says) {
				t.Errorf("%s: %q in %s", name, says, got)
			}
		}
		if !strings.Contains(got, c.says) {
			t.Errorf("%s: %s", name, got)
		}
		if !strings.HasPrefix(name, "slopes") {
			continue
		}
		if s := o.SlopesOf(analysis.LightTerm()); s == nil || !(s.Slopes[0].CI95[1] < 0 && s.Slopes[1].CI95[0] > 0 && s.Slopes[1].Standing.Told == analysis.Claim) {
			t.Errorf("%s: %+v", name, s.Slopes)
		}
	}
}
