package correlate

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"parstead/correlate/phrase"
)

// A count's light figures have a reliability, and their slope is made up for
// chance error where plants carry readings of their own: over many plants it
// comes back to what the true light did. A map's is left alone.
func TestCountsCorrectedForErrorOfLight(t *testing.T) {
	t.Parallel()
	const slope, spread, blur = 0.3, 1.0, 0.6
	rng := rand.New(rand.NewPCG(12, 12))
	in := rack(12, 4, 1500)
	o := &in.Outcomes[0]
	o.Kind = Count
	in.Light.Independent = make([]float64, len(in.Plants))
	for i := range in.Plants {
		light := 5 + spread*rng.NormFloat64()
		o.Values[i] = poisson(rng, math.Exp(slope*light))
		in.Light.Values[i] = light + blur*rng.NormFloat64()
		in.Light.Independent[i] = blur
	}
	in.Light.Raw = true
	r := result(t, in, Options{}).Outcomes[0]
	want := 1 - blur*blur/(spread*spread+blur*blur)
	approx(t, "reliability", r.Light.Reliability, want, 0.03)
	approx(t, "slope", r.Light.Slope.Slope, slope*want, 0.01) // four standard errors
	approx(t, "corrected slope", &r.Light.Corrected.Slope, slope, 0.015)
	approx(t, "corrected slope", &r.Light.Corrected.Slope, *r.Light.Slope.Slope / *r.Light.Reliability, 1e-12)
	if !strings.Contains(told(r), "Chance error in the light figures hides a part") {
		t.Error(told(r))
	}
	if r.Light.WithinBin == nil || r.Light.BetweenBin == nil || fmtDF(r.Light.BetweenBin) != 2 {
		t.Errorf("within %+v, between %+v", r.Light.WithinBin, r.Light.BetweenBin)
	}

	in.Light.Raw = false
	r = result(t, in, Options{}).Outcomes[0]
	if r.Light.Corrected != nil || r.Light.Reliability == nil || !strings.Contains(says(r), "not corrected: the light figures come from a smoothed map") {
		t.Errorf("corrected %+v; %s", r.Light.Corrected, says(r))
	}

	in.Light.Raw = true
	for i := range in.Light.Independent {
		in.Light.Independent[i] = 1
	}
	r = result(t, in, Options{}).Outcomes[0]
	if r.Light.Corrected != nil || !strings.Contains(says(r), "differ mostly by chance") {
		t.Errorf("corrected %+v; %s", r.Light.Corrected, says(r))
	}

	in.Light.Independent[0] = math.NaN()
	r = result(t, in, Options{}).Outcomes[0]
	if r.Light.Reliability != nil || !strings.Contains(says(r), "the error of some is not known") {
		t.Errorf("reliability %+v; %s", r.Light.Reliability, says(r))
	}
}

func fmtDF(s *Slope) float64 {
	if s.DF == nil {
		return math.NaN()
	}
	return *s.DF
}

// The curve of counts over light is the mean that they were drawn with, exp(0.3 L), to
// within four standard errors, over measured light alone; with exposures there is none.
func TestTheCurveOfCountsOverLight(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(21, 21))
	in := rack(12, 4, 1500)
	o := &in.Outcomes[0]
	o.Kind = Count
	for i := range in.Plants {
		in.Light.Values[i] = 3 + 4*rng.Float64()
		o.Values[i] = poisson(rng, math.Exp(0.3*in.Light.Values[i]))
	}
	r := result(t, in, Options{}).Outcomes[0]
	c := r.Curve
	if c == nil || !c.Times {
		t.Fatalf("curve %+v", c)
	}
	for i, light := range c.Light {
		off := math.Log(c.Value[i]) - 0.3*light
		se := math.Log(c.High[i]/c.Low[i]) / (2 * 1.96)
		if light < 3 || light > 7 || math.Abs(off) > 4*se || se > 0.05 {
			t.Errorf("at %g: %g (%g to %g)", light, c.Value[i], c.Low[i], c.High[i])
		}
	}
	in.Outcomes[0].Exposure = &Column{Name: "pots", Values: make([]float64, len(in.Plants))}
	for i := range in.Plants {
		in.Outcomes[0].Exposure.Values[i] = 1 + float64(i%2)
	}
	if r := result(t, in, Options{}).Outcomes[0]; r.Curve != nil {
		t.Error("a curve where plants stand for unlike exposures")
	}
}

// A level without an event has no ratio but a limit on one side, an exact p and a
// verdict; the first sentence says how many plants had none.
func TestLevelWithoutEvents(t *testing.T) {
	t.Parallel()
	o := analysed(t, counts(func(l, i int) float64 {
		if l == 1 {
			return 0
		}
		return float64(1 + i%3)
	}))
	e := effect(t, o, "g")
	if e.Test != "pairs" || e.Value != nil || e.DF != nil {
		t.Errorf("%+v", e)
	}
	least := 1.0
	n := map[string]int{}
	for _, g := range o.Groups {
		n[g.Levels["g"]] = g.N
	}
	for _, c := range o.Comparisons {
		least = min(least, *c.P)
		none := c.A == "b" || c.B == "b"
		if none != (c.Ratio == nil) || none != c.OneSided() || none != (c.SE == nil) || none && c.SmallestDetectable != nil {
			t.Errorf("comparison %+v", c)
		}
		if !none {
			continue
		}
		p := 2 * float64(len(o.Comparisons)) // every plant with an event stands on one side
		for k := range n[c.A] {
			p *= float64(k+1) / float64(n[c.B]+k+1)
		}
		approx(t, "p", c.P, p, 1e-12)
		if want := map[bool]string{true: Larger, false: Smaller}[c.B == "b"]; c.Verdict != want {
			t.Errorf("%s against %s: %q", c.A, c.B, c.Verdict)
		}
		text, err := json.Marshal(c)
		if err != nil || !strings.Contains(string(text), map[bool]string{true: ",null]", false: `"ci95":[null,`}[c.B == "b"]) {
			t.Errorf("%s, %v", text, err)
		}
	}
	approx(t, "p of the treatment", e.P, least, 0)
	if c, ok := check(o, "no events"); !ok || c.Of != "g" {
		t.Errorf("check %+v", c)
	}
	limit := fmt.Sprintf("of plants like these at most %s would", phrase.Percent(1-math.Pow(0.05, 1/float64(n["b"]))))
	if first := firstAbout(o, "g"); !strings.Contains(first, fmt.Sprintf("none of the %d plants on b had any", n["b"])) || !strings.Contains(first, limit) {
		t.Errorf("%s\n%s", first, told(o))
	}
}

// firstAbout is the first finding that names the treatment.
func firstAbout(o OutcomeResult, treatment string) string {
	for _, f := range o.Findings {
		if strings.HasPrefix(f.Says, treatment+":") {
			return f.Says
		}
	}
	return ""
}

// Light's slope on single answers is taken within bins, and that of the bins'
// shares beside it.
func TestAnswersWithinBins(t *testing.T) {
	t.Parallel()
	in := rack(13, 4, 30)
	in.Outcomes[0].Kind = YesNo
	for i, v := range in.Outcomes[0].Values {
		in.Outcomes[0].Values[i] = float64(int(math.Abs(10*v)) % 2)
	}
	in.Light.Independent, in.Light.Raw = make([]float64, len(in.Plants)), true
	for i := range in.Light.Independent {
		in.Light.Independent[i] = 0.1
	}
	o := result(t, in, Options{}).Outcomes[0]
	l := o.Light
	if l == nil || l.Slope.Slope == nil || l.WithinBin == nil || *l.WithinBin.Slope != *l.Slope.Slope || l.BetweenBin == nil || *l.BetweenBin.DF != 2 || l.Corrected != nil || l.Reliability == nil {
		t.Errorf("light %+v", l)
	}
	for _, want := range []string{"between_bin: between bins the slope is one of the bins' shares", "conditional likelihood: answers were compared within bins", "corrected_for_error: not corrected: log odds"} {
		if !strings.Contains(says(o), want) {
			t.Errorf("no %q in %s", want, says(o))
		}
	}
}

// What differs between bins only is no covariate, whatever is asked: plants
// would be counted as its replicates, or the bins leave nothing of it.
func TestCovariateOfBins(t *testing.T) {
	t.Parallel()
	for _, kind := range []Kind{Measure, Count, YesNo} {
		in := rack(14, 6, 12)
		in.Light = nil
		in.Outcomes[0].Kind = kind
		warm := Column{Name: "celsius"}
		for i, b := range in.Bin.Codes {
			warm.Values = append(warm.Values, 20+float64(b%4))
			if kind != Measure {
				in.Outcomes[0].Values[i] = float64(i % 2)
			}
		}
		in.Covariates = []Column{warm}
		if o := analysed(t, in); o.Model != "" || !strings.Contains(says(o), "celsius is the same throughout each bin") {
			t.Errorf("%s: model %q; %s", kind, o.Model, says(o))
		}
		warm.Values[0]++
		if o := analysed(t, in); strings.Contains(says(o), "is the same throughout each bin") {
			t.Errorf("%s: %s", kind, says(o))
		}
	}
}
