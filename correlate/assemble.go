package correlate

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
)

// both are an outcome's models with light and without; the same where light is
// not in the model.
type both struct{ with, without *layers }

// leftOutLight begins the check that says so.
const leftOutLight = "light was left out of the model"

// fitBoth fits with and without light. Light that cannot be told apart from
// bins, treatments or covariates is left out, and said.
func (s *sample) fitBoth(fit func(model.Terms) (*layers, error)) (both, error) {
	bare, err := fit(s.withoutLight())
	if err != nil {
		return both{}, err
	}
	if s.terms.Light == nil {
		return both{bare, bare}, nil
	}
	full, err := fit(s.terms)
	if err == nil && full.all[0].err != nil && isLight(full.all[0].err) {
		err = full.all[0].err
	}
	if err != nil {
		if !isLight(err) && !errors.Is(err, model.ErrTooFew) {
			return both{}, err
		}
		s.say("light", "", leftOutLight+": %v", err)
		s.terms.Light = nil
		return both{bare, bare}, nil
	}
	return both{full, bare}, nil
}

// of is the layers that speak for an effect or a family.
func (b both) of(s *sample, name string) *layers {
	if s.setsLight(name) {
		return b.without
	}
	return b.with
}

// ratio tells whether comparisons are ratios.
func (s *sample) ratio() bool { return s.log || s.out.Kind != Measure }

// back takes a value from the analysed scale to the outcome's own.
func (s *sample) back(v float64) float64 {
	if s.ratio() {
		return math.Exp(v)
	}
	return v
}

func (s *sample) backPair(ci *[2]float64) *[2]float64 {
	if ci == nil || !s.ratio() {
		return ci
	}
	return analysis.KnownPair(exp2(*ci))
}

// assemble fills in effects, groups and comparisons of a measure or a count.
func (s *sample) assemble(r *OutcomeResult, b both) {
	for i := range b.with.all {
		s.effects(r, b, i)
		s.compared(r, b, i)
		s.planning(r, b, i)
	}
}

// effects lists the tests of layer i.
func (s *sample) effects(r *OutcomeResult, b both, i int) {
	l := b.with.all[i]
	if l.err != nil {
		for _, name := range l.treatments {
			r.Effects = append(r.Effects, Effect{Effect: name, Unit: string(l.unit), Kind: model.KindTreatment})
			s.say("not tested", name, "%s", s.whyUntested(l))
		}
		return
	}
	for _, t := range l.tests {
		if s.setsLight(t.Effect) {
			if bare := b.without.all[i]; bare.err == nil {
				if j := slices.IndexFunc(bare.tests, func(o model.Test) bool { return o.Effect == t.Effect && o.Kind == t.Kind }); j >= 0 {
					t = bare.tests[j]
				}
			}
		}
		e := Effect{Effect: t.Effect, Unit: string(l.unit), Kind: t.Kind}
		if t.OK {
			e.Test, e.Value, e.DF, e.P = "F", analysis.Known(t.F), t.DF[:], analysis.Known(t.P)
		} else {
			s.say("not tested", t.Effect, "%s could not be tested: no spread is left to measure it by", t.Effect)
		}
		r.Effects = append(r.Effects, e)
	}
}

// whyUntested says why a layer has no model.
func (s *sample) whyUntested(l layer) string {
	if l.unit == model.PerPlant {
		return fmt.Sprintf("plants could not be compared: %v", l.err)
	}
	if errors.Is(l.err, model.ErrTooFew) {
		return fmt.Sprintf("each level has one %s: whatever else differs between %ss looks the same as the treatment, so it is described, not tested; two or more %ss per level would answer it", l.unit, l.unit, l.unit)
	}
	return fmt.Sprintf("%ss could not be compared: %v", l.unit, l.err)
}

// compared fills in the groups and comparisons of layer i.
func (s *sample) compared(r *OutcomeResult, b both, i int) {
	l := b.with.all[i]
	if l.err != nil {
		for _, name := range l.treatments {
			s.describe(r, name)
		}
		return
	}
	for _, family := range l.families {
		own := b.of(s, family.Treatment).all[i]
		if own.err != nil {
			own = l
		}
		means := model.Compare(own.fit, own.design, family)
		s.groups(r, own.design, means)
		var bare *model.Means
		if b.with != b.without && !s.setsLight(family.Treatment) && b.without.all[i].err == nil {
			m := model.Compare(b.without.all[i].fit, b.without.all[i].design, family)
			bare = &m
		}
		s.pairs(r, own.design, means, bare)
	}
}

// describe lists the raw groups of a treatment that could not be tested.
func (s *sample) describe(r *OutcomeResult, name string) {
	i := slices.IndexFunc(s.terms.Treatments, func(t model.Treatment) bool { return t.Name == name })
	f := s.terms.Treatments[i].Factor
	for l, level := range f.Levels {
		var rows []int
		for k, of := range f.Of {
			if of == l {
				rows = append(rows, k)
			}
		}
		if len(rows) > 0 {
			r.Groups = append(r.Groups, s.group(map[string]string{name: level}, rows))
		}
	}
}

// group describes some of the sample's rows as they are.
func (s *sample) group(levels map[string]string, rows []int) Group {
	mean, sd := model.MeanSD(pick(s.raw, rows))
	return Group{Levels: levels, N: len(rows), Mean: analysis.Known(mean), SD: analysis.Known(sd)}
}

// groups lists a family's cells: described over plants, adjusted by the layer.
func (s *sample) groups(r *OutcomeResult, d *model.Design, m model.Means) {
	for i, cell := range m.Cells {
		levels := map[string]string{}
		for _, at := range cell {
			levels[d.Factors[at.Factor].Name] = d.Factors[at.Factor].Levels[at.Level]
		}
		g := s.group(levels, s.holding(levels))
		if g.N == 0 {
			s.say("empty cell", m.Treatment, "no plant has %s: its mean cannot be given", d.Levels(cell))
			continue
		}
		if e := m.Adjusted[i]; analysis.Known(e.Value) != nil {
			g.AdjustedMean = analysis.Known(s.back(e.Value))
			if m.Within == 0 {
				g.CI95 = s.backPair(interval(e))
			}
		}
		if m.Letters != nil {
			g.Letters = m.Letters[i]
		}
		r.Groups = append(r.Groups, g)
	}
}

// holding lists the sample's rows that have these levels.
func (s *sample) holding(levels map[string]string) []int {
	var rows []int
	for k := range s.rows {
		fits := true
		for _, t := range s.terms.Treatments {
			if want, ok := levels[t.Name]; ok && t.Levels[t.Of[k]] != want {
				fits = false
				break
			}
		}
		if fits {
			rows = append(rows, k)
		}
	}
	return rows
}

// pairs lists a family's comparisons, with those of the model without light beside.
func (s *sample) pairs(r *OutcomeResult, d *model.Design, m model.Means, bare *model.Means) {
	for _, p := range m.Pairs {
		c := Comparison{
			Treatment: m.Treatment, A: d.Levels(m.Cells[p.A]), B: d.Levels(m.Cells[p.B]), Unit: string(m.Unit),
			SE: analysis.Known(p.SE), P: analysis.Known(p.P), PSingle: analysis.Known(p.PSingle), SmallestDetectable: analysis.Known(p.Detectable()),
		}
		contrast := s.contrast(p)
		c.Difference, c.Ratio, c.CI95 = contrast.Difference, contrast.Ratio, contrast.CI95
		if bare != nil {
			if i := slices.IndexFunc(bare.Pairs, func(o model.Pair) bool { return o.A == p.A && o.B == p.B }); i >= 0 {
				beside := s.contrast(bare.Pairs[i])
				c.WithoutLight = &beside
			}
		}
		c.Verdict = s.verdict(c.CI95, analysis.Known(s.back(m.Adjusted[p.B].Value)))
		r.Comparisons = append(r.Comparisons, c)
	}
}

func (s *sample) contrast(p model.Pair) Contrast {
	if s.ratio() {
		return Contrast{Ratio: analysis.Known(math.Exp(p.Value)), CI95: analysis.KnownPair(exp2(p.CI95)), P: analysis.Known(p.P)}
	}
	return Contrast{Difference: analysis.Known(p.Value), CI95: analysis.KnownPair(p.CI95), P: analysis.Known(p.P)}
}
