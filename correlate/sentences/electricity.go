package sentences

import (
	"fmt"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

var electric = analysis.Topic{Subject: analysis.OfElectricity}

// electricity words the least current that an extra unit took: one sentence for the
// treatments, one for light.
func (t *teller) electricity() {
	e := t.all.Electricity
	var bounded, open, light *analysis.ElectricityGain
	for _, g := range e.GainsOf(t.r) {
		switch {
		case g.Term == analysis.LightTerm():
			light = &g
		case g.KWhPerUnit != nil && (bounded == nil || *g.KWhPerUnit < *bounded.KWhPerUnit):
			bounded = &g
		case g.KWhAtLeast != nil && (open == nil || *g.KWhAtLeast < *open.KWhAtLeast):
			open = &g
		}
	}
	switch {
	case bounded != nil && !t.stands(bounded.Term):
	case bounded != nil:
		t.say(analysis.Lead, electric, "Electricity: by %s, %s in place of %s, %s.", bounded.By, bounded.More, bounded.Less, t.perUnit(e, bounded))
	case open != nil:
		t.say(analysis.Open, electric, "Electricity: what %s takes by %s is unbounded, since no gain was shown; %s in place of %s takes at least %s.",
			t.extra(), open.By, open.More, open.Less, phrase.Current(open.KWhAtLeast, open.CostAtLeast, e.Currency))
	}
	if light != nil {
		t.byLight(e, light)
	}
}

// byLight words what an extra unit took by way of light.
func (t *teller) byLight(e *analysis.Electricity, g *analysis.ElectricityGain) {
	switch {
	case g.KWhPerUnit != nil && !t.stands(g.Term):
	case g.KWhPerUnit != nil:
		t.say(analysis.Lead, electric, "Electricity: by more light, at what light draws here, %s.", t.perUnit(e, g))
	case g.KWhAtLeast != nil:
		t.say(analysis.Open, electric, "Electricity: what %s takes by more light is unbounded, since no gain was shown; it takes at least %s.", t.extra(), phrase.Current(g.KWhAtLeast, g.CostAtLeast, e.Currency))
	}
}

// standing is that of what an extra unit's current rests on.
func (t *teller) standing(term analysis.Term) analysis.Standing {
	if term == analysis.LightTerm() && t.r.Light != nil {
		return t.r.Light.Standing
	}
	if e := analysis.Find(t.r.Effects, term); e != nil {
		return e.Standing
	}
	return analysis.Standing{}
}

// stands tells whether what an extra unit's current rests on was shown or is a lead.
func (t *teller) stands(term analysis.Term) bool {
	told := t.standing(term).Told
	return told == analysis.Claim || told == analysis.Lead
}

// extra words one more unit: "one more g of biomass_g".
func (t *teller) extra() string {
	if t.r.Unit == "" {
		return "one more of " + t.r.Name
	}
	return fmt.Sprintf("one more %s of %s", t.r.Unit, t.r.Name)
}

// perUnit words what a unit took, with its interval.
func (t *teller) perUnit(e *analysis.Electricity, g *analysis.ElectricityGain) string {
	text := fmt.Sprintf("%s takes %s", t.extra(), phrase.Current(g.KWhPerUnit, g.CostPerUnit, e.Currency))
	if ci := g.KWhPerUnitCI95; ci != nil {
		text += fmt.Sprintf(" (95 %% interval %s to %s kWh)", phrase.Number(ci[0]), phrase.Number(ci[1]))
	}
	if t.r.Scale == analysis.Log {
		text += ", at a typical plant (the geometric mean)"
	}
	return text
}
