package correlate

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// both are an outcome's models with light and without; the same where light is
// not in the model.
type both struct{ with, without []*model.Stratum }

// fitBoth fits with and without light. Light that cannot be told apart from
// bins, treatments or covariates is left out, and said.
func (s *sample) fitBoth(t model.Terms) (both, error) {
	full, unlit := s.fit(t)
	if t.Light == nil {
		return both{full, full}, unlit
	}
	if unlit != nil && !isLight(unlit) && !errors.Is(unlit, model.ErrTooFew) {
		return both{}, unlit
	}
	t.Light = nil
	bare, err := s.fit(t)
	if err != nil {
		return both{}, err
	}
	if unlit != nil {
		s.leaveLightOut(unlit)
		return both{bare, bare}, nil
	}
	return both{full, bare}, nil
}

// fit fits the outcome by its kind, at each level of replication.
func (s *sample) fit(t model.Terms) ([]*model.Stratum, error) {
	return model.FitStrata(len(s.y), t, s.reservoir(), s.method.response(s))
}

// lit tells whether light made a difference to the models.
func (b both) lit() bool { return b.with[0] != b.without[0] }

// leaveLightOut takes light out of the terms, and says why.
func (s *sample) leaveLightOut(why error) {
	s.terms.Light = nil
	s.lightOut = &Check{Check: "light", Says: fmt.Sprintf("light was left out of the model: %v", why)}
	s.checks = append(s.checks, *s.lightOut)
}

// of is the strata that speak for a term.
func (b both) of(s *sample, t analysis.Term) []*model.Stratum {
	if s.in.SetsLight(t) {
		return b.without
	}
	return b.with
}

// ratio tells whether comparisons are ratios.
func (s *sample) ratio() bool { return s.contrast() != kind.Difference }

func (s *sample) contrast() kind.Contrast { return kind.Compared(s.out.Kind, s.out.Scale) }

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
func (s *sample) assemble(r *OutcomeResult, b both) error {
	for i := range b.with {
		s.effects(r, b, i)
		if err := s.compared(r, b, i, s.groups); err != nil {
			return err
		}
		s.planning(r, b, i)
	}
	return nil
}

// effects lists the tests of stratum i.
func (s *sample) effects(r *OutcomeResult, b both, i int) {
	l := b.with[i]
	if l.Err != nil {
		for _, name := range l.Treatments {
			r.Effects = append(r.Effects, Effect{Term: s.in.treatmentTerm(name), Effect: name, Unit: string(l.Unit)})
			s.say(analysis.NotTested, name, "%s", s.whyUntested(l))
			if l.Unit != model.PerPlant && errors.Is(l.Err, model.ErrTooFew) {
				s.oneUnit(name, l.Unit)
			}
		}
		return
	}
	for _, t := range l.Tests {
		term := s.term(t.Term)
		if s.in.SetsLight(term) {
			if bare := b.without[i]; bare.Err == nil {
				if j := slices.IndexFunc(bare.Tests, func(o model.Test) bool { return o.Term == t.Term }); j >= 0 {
					t = bare.Tests[j]
				}
			}
		}
		e := testEffect(term, t, l.Unit)
		switch {
		case t.Eventless:
			s.say(noEvents, t.Name(), "%s", s.whyNoF(t))
		case t.TooFew:
			s.say(analysis.NotTested, t.Name(), "%s", tooFewUnits(l.Unit))
		case !t.OK:
			s.say(analysis.NotTested, t.Name(), "%s", whyNoTest(t))
		}
		r.Effects = append(r.Effects, e)
	}
}

// whyNoTest says why a model has no test of an effect.
func whyNoTest(t model.Test) string {
	if t.Statistic == model.Dealt {
		return t.Name() + " could not be tested: there are too few ways to deal the answers to the plants of each bin"
	}
	return t.Name() + " could not be tested: no spread is left to measure it by"
}

// testEffect is a model's test as a result.
func testEffect(term analysis.Term, t model.Test, unit model.Unit) Effect {
	e := Effect{Term: term, Effect: t.Name(), Unit: string(unit)}
	if !t.OK {
		return e
	}
	e.Test, e.P = string(t.Statistic), analysis.Known(t.P)
	switch t.Statistic {
	case model.Dealt, model.Pairs:
	case model.Chi2:
		e.Value, e.DF = analysis.Known(t.Value), t.DF[:1]
	default:
		e.Value, e.DF = analysis.Known(t.Value), t.DF[:]
	}
	return e
}

// tooFewUnits says why levels are not compared that slopes adjusted.
func tooFewUnits(unit model.Unit) string {
	return fmt.Sprintf("too few %ss to tell: its levels leave no more than one %s to judge by how far %ss differ by themselves; one %s more would give an answer", unit, unit, unit, unit)
}

// whyUntested says why a stratum has no model.
func (s *sample) whyUntested(l *model.Stratum) string {
	if l.Unit == model.PerPlant {
		return fmt.Sprintf("plants could not be compared: %v", l.Err)
	}
	if errors.Is(l.Err, model.ErrTooFew) {
		return fmt.Sprintf("each level has one %s: described, not tested; two or more %ss per level would answer it", l.Unit, l.Unit)
	}
	return fmt.Sprintf("%ss could not be compared: %v", l.Unit, l.Err)
}

// oneUnit says that a treatment is one and the same as what its units differ by.
func (s *sample) oneUnit(treatment string, unit model.Unit) {
	s.say(analysis.OneUnit, treatment, "whatever else %ss differ by looks the same as it: each of its levels has one %s", unit, unit)
}

// compared fills in the comparisons of stratum i, and the groups by the way given.
func (s *sample) compared(r *OutcomeResult, b both, i int, groups func(*OutcomeResult, *model.Design, model.Means)) error {
	l := b.with[i]
	if l.Err != nil {
		for _, name := range l.Treatments {
			s.describe(r, name)
		}
		return nil
	}
	for _, family := range l.Families() {
		term := s.term(family.Term)
		own, unlit := b.of(s, term)[i], b.without[i]
		if own.Err != nil {
			own = l
		}
		means, err := model.Compare(own.Model, own.Design, family)
		if err != nil {
			return err
		}
		groups(r, own.Design, means)
		var beside model.Means
		if b.lit() && !s.in.SetsLight(term) && unlit.Err == nil {
			if beside, err = model.Compare(unlit.Model, unlit.Design, family); err != nil {
				return err
			}
		}
		at := len(r.Comparisons)
		s.pairs(r, term, own.Design, means, beside)
		s.adjusted(r.Comparisons[at:], l.Unit)
	}
	return nil
}

// adjusted says where comparisons of whole units rest on the slopes that adjust them
// more than on the units, and where light decides them.
func (s *sample) adjusted(list []Comparison, unit model.Unit) {
	most, decides := 0.0, false
	for _, c := range list {
		if c.BySlopes() {
			most = max(most, *c.SlopeShare)
		}
		decides = decides || c.LightDecides()
	}
	if len(list) == 0 || unit == model.PerPlant {
		return
	}
	of := list[0].Treatment
	if most > 0 {
		s.checks = append(s.checks, Check{Check: analysis.SlopeError, Of: of, Value: analysis.Known(most), Says: fmt.Sprintf(
			"its levels differ so much in covariates or light that %s of the widest pair's variance is the error of their slopes, not of how %ss differ", phrase.Percent(most), unit)})
	}
	if decides {
		s.say(analysis.ByLight, of, "a verdict is another one without light: read without_light beside")
	}
}

// describe lists the raw groups of a treatment that could not be tested.
func (s *sample) describe(r *OutcomeResult, name string) {
	t := s.in.treatment(name)
	for l := range s.in.Treatments[t].Levels {
		cell := analysis.Cell{{Treatment: t, Level: l}}
		if rows := s.holding(cell); len(rows) > 0 {
			r.Groups = append(r.Groups, s.group(cell, rows))
		}
	}
}

// group describes some of the sample's rows as they are.
func (s *sample) group(cell analysis.Cell, rows []int) Group {
	mean, sd := model.MeanSD(pick(s.raw, rows))
	levels := map[string]string{}
	for _, at := range cell {
		t := &s.in.Treatments[at.Treatment]
		levels[t.Name] = t.Levels[at.Level]
	}
	return Group{Cell: cell, Levels: levels, N: len(rows), Mean: analysis.Known(mean), SD: analysis.Known(sd)}
}

// groups lists a family's cells: described over plants, adjusted by the model.
func (s *sample) groups(r *OutcomeResult, d *model.Design, m model.Means) {
	for i, cell := range m.Cells {
		own := s.cell(d, cell)
		g := s.group(own, s.holding(own))
		if g.N == 0 {
			s.say("empty cell", m.Name(), "no plant has %s: its mean cannot be given", phrase.Cell(s.in.Input, own))
			continue
		}
		if e := m.Adjusted[i]; analysis.Known(e.Value) != nil {
			g.AdjustedMean = analysis.Known(s.back(e.Value))
			if m.Within == 0 {
				g.CI95 = s.backPair(analysis.Interval(e))
			}
		}
		if m.Letters != nil {
			g.Letters = m.Letters[i]
		}
		r.Groups = append(r.Groups, g)
	}
}

// pairs lists a family's comparisons, with those of the model without light beside.
func (s *sample) pairs(r *OutcomeResult, term analysis.Term, d *model.Design, m, bare model.Means) {
	for _, p := range m.Pairs {
		c := Comparison{
			Term: term, CellA: s.cell(d, m.Cells[p.A]), CellB: s.cell(d, m.Cells[p.B]),
			Treatment: m.Name(), A: d.Levels(m.Cells[p.A]), B: d.Levels(m.Cells[p.B]), Unit: string(m.Unit),
			SE: analysis.Known(p.SE), DF: analysis.Known(p.Freedom()), P: analysis.Known(p.P), PSingle: analysis.Known(p.PSingle), SmallestDetectable: analysis.Known(p.Detectable()),
		}
		contrast := s.contrastOf(p)
		c.Difference, c.Ratio, c.CI95 = contrast.Difference, contrast.Ratio, s.limits(p)
		if slopes := p.Carried; slopes != nil {
			c.SlopeShare = analysis.Known(slopes.Slope * slopes.Slope / (p.SE * p.SE))
		}
		if i := slices.IndexFunc(bare.Pairs, func(o model.Pair) bool { return o.A == p.A && o.B == p.B }); i >= 0 {
			beside := s.contrastOf(bare.Pairs[i])
			beside.Verdict = s.pairVerdict(bare, bare.Pairs[i])
			c.WithoutLight = &beside
		}
		c.Verdict = s.pairVerdict(m, p)
		r.Comparisons = append(r.Comparisons, c)
	}
}

func (s *sample) pairVerdict(m model.Means, p model.Pair) string {
	switch {
	case p.Eventless:
		return exactVerdict(p.P, p.Value, -p.Value)
	case p.TooFew:
		return CantTell
	}
	return s.verdict(s.contrastOf(p).CI95, analysis.Known(s.back(m.Adjusted[p.B].Value)))
}

// limits is a pair's interval; open towards none or no end where a level has no event.
func (s *sample) limits(p model.Pair) *analysis.Limits {
	ci := p.CI95
	if s.ratio() {
		for i, end := range ci {
			if !math.IsInf(end, 0) {
				ci[i] = math.Exp(end)
			}
		}
	}
	return analysis.KnownLimits(ci)
}

func (s *sample) contrastOf(p model.Pair) Contrast {
	switch {
	case p.Eventless:
		return Contrast{P: analysis.Known(p.P)}
	case s.ratio():
		return Contrast{Ratio: analysis.Known(math.Exp(p.Value)), CI95: analysis.KnownPair(exp2(p.CI95)), P: analysis.Known(p.P)}
	}
	return Contrast{Difference: analysis.Known(p.Value), CI95: analysis.KnownPair(p.CI95), P: analysis.Known(p.P)}
}
