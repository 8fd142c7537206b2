package correlate

import (
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
// interval of no use; the figures stand in the table.
func TestTooFewBinsAreToldBriefly(t *testing.T) {
	t.Parallel()
	in := trial{bins: 4, rows: 4, columns: 6, media: 2, binSD: 0.3, sd: 0.2}.input(rand.New(rand.NewPCG(5, 3)))
	o := result(t, in, Options{}).Outcomes[0]
	c := comparisons(o, "level")[0]
	if c.Verdict != CantTell || c.CI95.Closed() == nil || c.P == nil {
		t.Fatalf("%+v", c)
	}
	brief := 0
	for _, f := range o.Findings {
		if strings.Contains(f.Says, "too few bins to tell whether mass_g differs") {
			brief++
		}
		if strings.Contains(f.Says, "anything from") {
			t.Error(f.Says)
		}
	}
	if brief != 1 {
		t.Error(told(o))
	}
}
