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
