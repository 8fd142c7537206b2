package correlate

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"parstead/correlate/analysis"
)

// Light that levels of whole bins got unlike decides some answers; where it does, a
// caution gives the answer without light, and the figures for it stand beside.
func TestLightThatDecidesIsTold(t *testing.T) {
	t.Parallel()
	in := trial{bins: 8, rows: 4, columns: 6, media: 2, light: 0.3, binSD: 0.02, sd: 0.2}.input(rand.New(rand.NewPCG(5, 2)))
	in.Treatments[1].SetsLight = false
	o := result(t, in, Options{}).Outcomes[0]
	c := comparisons(o, "level")[0]
	if c.WithoutLight.Verdict != Larger || c.Verdict == Larger || !c.LightDecides() || !c.BySlopes() || c.Unit != "bin" {
		t.Fatalf("%+v, without light %+v", c, c.WithoutLight)
	}
	e := effect(t, o, "level")
	if e.Test != "pairs" || e.Value != nil || e.DF != nil || *e.P != *c.P {
		t.Errorf("%+v", e)
	}
	for _, code := range []analysis.Code{analysis.SlopeError, analysis.ByLight} {
		if k, ok := check(o, string(code)); !ok || k.Of != "level" {
			t.Errorf("no check %s", code)
		}
	}
	cautions := 0
	for _, f := range o.Findings {
		if f.Kind == analysis.Caution && strings.Contains(f.Says, "without light taken into account, high lies above low") {
			cautions++
		}
	}
	if cautions != 1 {
		t.Error(told(o))
	}

	in.Treatments[1].SetsLight = true
	o = result(t, in, Options{}).Outcomes[0]
	if c := comparisons(o, "level")[0]; c.WithoutLight != nil || c.Verdict != Larger {
		t.Errorf("a treatment that acts through light is adjusted for it: %+v", c)
	}
}

// On one or two degrees of freedom between bins a sentence says so in place of an
// interval of no use, of whatever kind the outcome is; the figures stand in the table.
func TestTooFewBinsAreToldBriefly(t *testing.T) {
	t.Parallel()
	in := trial{bins: 4, rows: 4, columns: 6, media: 2, binSD: 0.3, sd: 0.2}.input(rand.New(rand.NewPCG(5, 3)))
	in.Treatments = in.Treatments[1:]
	r := result(t, in, Options{})
	for _, o := range r.Outcomes {
		c := comparisons(o, "level")[0]
		if c.Verdict != CantTell || c.CI95.Closed() == nil {
			t.Fatalf("%s: %+v", o.Name, c)
		}
		brief := 0
		for _, f := range o.Findings {
			if f.Kind == Open && f.About == "level" && strings.Contains(f.Says, "too few bins to tell") {
				brief++
			}
			if f.About == "level" && (strings.Contains(f.Says, "anything from") || strings.Contains(f.Says, "95 % interval")) {
				t.Error(f.Says)
			}
		}
		if brief != 1 {
			t.Error(o.Name, told(o))
		}
	}
	var answer strings.Builder
	for _, s := range r.Answer {
		answer.WriteString(s.String() + "\n")
	}
	if text := answer.String(); !strings.Contains(text, "level: too few to tell, with two bins a level") || strings.Contains(text, "gave the") {
		t.Error(text)
	}
}

// Bins whose shares came out alike by chance differ at least by what their plants make
// them: what one answer more or less would change is no sharp interval.
func TestSharesOfBinsAreNoSharperThanTheirPlants(t *testing.T) {
	t.Parallel()
	in := rack(3, 8, 12)
	in.Outcomes[0].Kind, in.Outcomes[0].Start = YesNo, nil
	cover := Factor{Name: "cover", Levels: []string{"open", "lid"}, Codes: make([]int, len(in.Plants))}
	for i := range in.Plants {
		bin := in.Bin.Codes[i]
		cover.Codes[i] = bin % 2
		in.Outcomes[0].Values[i] = 0
		if i%12 < 2+bin%2 { // 2 of 12 in each open bin, 3 in each with a lid
			in.Outcomes[0].Values[i] = 1
		}
	}
	in.Treatments, in.Light = []Treatment{{Factor: cover, SetPer: PerBin}}, nil
	o := result(t, in, Options{}).Outcomes[0]
	c := comparisons(o, "cover")[0]
	// Woolf's standard error of 12 yes and 36 no against 8 and 40, one plant like another.
	approx(t, "se", c.SE, math.Sqrt(1./12+1./36+1./8+1./40), 1e-9)
	if c.CI95[0] >= 1 || c.Verdict != CantTell || !strings.Contains(says(o), "by chance bins differ less than the answers of their plants make them") {
		t.Errorf("%+v %s", c, says(o))
	}
}
