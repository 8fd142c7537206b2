package model

import (
	"errors"
	"fmt"
	"slices"
)

// SlopeTest is a test that a slope is the same at all levels of a treatment.
type SlopeTest struct {
	Test
	Of Term // the covariate or light
}

// Wider is a model that columns can be tested beside.
type Wider interface {
	Model
	design() *Design
	// joined tests columns that join the model. Those that its own make up count for
	// nothing; OK is false where none is left, or where they can't be fitted.
	joined(columns [][]float64) Test
}

func (f *Fit) design() *Design            { return f.Design }
func (f *CountFit) design() *Design       { return f.Design }
func (f *LogisticFit) design() *Design    { return f.Design }
func (f *ConditionalFit) design() *Design { return f.Design }

// EqualSlopes tests for each covariate and for light whether its slope is the
// same at all levels of a treatment, one treatment at a time, by the products that
// join the model. Effect is named "start_g × medium".
func EqualSlopes(m Wider) []SlopeTest {
	d := m.design()
	var tests []SlopeTest
	for _, e := range d.Effects {
		if e.Kind != KindCovariate && e.Kind != KindLight {
			continue
		}
		x := d.Columns[e.First].Values
		for _, t := range d.treatments {
			factor := d.Factors[t]
			test := m.joined(products(x, factor)[1:])
			test.Term = Term{KindInteraction, e.A, factor.Name}
			tests = append(tests, SlopeTest{test, e.Term})
		}
	}
	return tests
}

// products are a column for each level: x where a row has it, 0 elsewhere.
func products(x []float64, of Factor) [][]float64 {
	list := make([][]float64, len(of.Levels))
	for l := range list {
		list[l] = make([]float64, len(x))
	}
	for i, l := range of.Of {
		list[l][i] = x[i]
	}
	return list
}

// beyond lists the columns that the basis does not make up, and what each of them adds to
// the ones before it, with length one.
func (b *basis) beyond(columns [][]float64) (list, adds [][]float64) {
	longer := basis{q: slices.Clip(b.q), lead: b.lead}
	for _, x := range columns {
		w := append([]float64(nil), x...)
		full := norm(w)
		longer.project(w, make([]float64, len(longer.q)))
		left := norm(w)
		if left <= rankLimit*full {
			continue
		}
		for i := range w {
			w[i] /= left
		}
		longer.q = append(longer.q, w)
		list = append(list, x)
	}
	return list, longer.q[len(b.q):]
}

// beyond lists the columns that the design's own do not make up.
func (d *Design) beyond(columns [][]float64) [][]float64 {
	b, err := d.basis(nil)
	if err != nil {
		return nil
	}
	list, _ := b.beyond(columns)
	return list
}

// joined tests by the drop in residual sum of squares over the mean square that is then
// left.
func (f *Fit) joined(columns [][]float64) Test {
	_, adds := f.basis.beyond(columns)
	extra := len(adds)
	t := Test{DF: [2]float64{float64(extra), float64(f.DF - extra)}}
	if extra == 0 || extra >= f.DF || f.Exact {
		return t
	}
	e := append([]float64(nil), f.Residuals...)
	z := make([]float64, extra)
	project(e, adds, z)
	if rss := dot(e, e); rss > exactLimit*exactLimit*f.RSS {
		t.f(dot(z, z) / t.DF[0] / (rss / t.DF[1]))
	}
	return t
}

// joined tests by the drop in deviance over the dispersion that is then left, where events
// are as many for each parameter as answers have to be: few of them make chance patterns.
func (f *CountFit) joined(columns [][]float64) Test {
	fresh := f.Design.beyond(columns)
	if len(fresh) == 0 || f.Exact {
		return Test{}
	}
	wide := f.columns(allColumns(f.Design))
	wide.columns = append(wide.columns, fresh...)
	if wide.fit(nil) != nil {
		return Test{}
	}
	rows, chi2, events := 0, 0.0, 0.0
	for i, used := range wide.used {
		if used {
			rows++
			events += f.Y[i]
			chi2 += (f.Y[i] - wide.mean[i]) * (f.Y[i] - wide.mean[i]) / wide.mean[i]
		}
	}
	extra, df := len(wide.kept)-len(f.glm.kept), rows-len(wide.kept)
	t := Test{DF: [2]float64{float64(extra), float64(df)}}
	enough := events >= answersPerParameter*float64(len(wide.kept)-1)
	if enough && extra > 0 && df > 0 && chi2 > exactLimit*exactLimit*f.Deviance {
		t.f(max(0, f.Deviance-wide.deviance) / t.DF[0] / (chi2 / t.DF[1]))
	}
	return t
}

// joined tests by the fall of the penalised likelihood.
func (f *LogisticFit) joined(columns [][]float64) Test {
	return fall(f.Design.values(allColumns(f.Design)), f.Design.beyond(columns), f.Y, 1, func(c [][]float64) hill { return newFirth(c, f.Y) })
}

func (f *ConditionalFit) joined(columns [][]float64) Test {
	if f.Beta == nil {
		return Test{}
	}
	return fall(f.own.values(allColumns(f.own)), f.Design.beyond(columns), f.Y, 0, func(c [][]float64) hill { return f.over(c) })
}

// fall tests fresh columns beside others, of which some are no parameters, where the
// rarer answer comes often enough for all of them.
func fall(own, fresh [][]float64, y []float64, noParameters int, of func(columns [][]float64) hill) Test {
	all := append(slices.Clip(own), fresh...)
	if len(fresh) == 0 || enough(y, len(all)-noParameters) != nil {
		return Test{}
	}
	with, without := of(all), of(all)
	if _, err := climb(with, make([]float64, len(all)), len(all), firthLimit); err != nil {
		return Test{}
	}
	if _, err := climb(without, make([]float64, len(all)), len(own), firthLimit); err != nil {
		return Test{}
	}
	return chiTest(Effect{End: len(fresh)}, 2*(with.height()-without.height()))
}

// SlopesByLevel estimates the slope of a covariate or of light at each level of a
// treatment, everything else as in the stratum's model: its column gives way to one for
// each level. judge tests wᵀβ of the model, holding for so many of them at once.
//
// Errors: a level within which the column does not vary; those of the fit.
func (s *Stratum) SlopesByLevel(of Term, treatment string, judge func(m Model, w []float64, among int) (Pair, error)) ([]Pair, error) {
	e, ok := s.Design.Effect(of)
	at := slices.IndexFunc(s.Design.treatments, func(t int) bool { return s.Design.Factors[t].Name == treatment })
	if !ok || at < 0 {
		return nil, fmt.Errorf("the model has no %s or no %s", of.Name(), treatment)
	}
	factor := s.Design.Factors[s.Design.treatments[at]]
	d := s.Design.without([]int{e.First})
	first := len(d.Columns)
	columns := make([]Column, len(factor.Levels))
	for l, x := range products(s.Design.Columns[e.First].Values, factor) {
		columns[l] = Column{Level: factor.Levels[l], Values: x}
		d.means = append(d.means, mean(x))
	}
	d.add(Effect{Term: of}, columns...)
	apart, err := s.Response.fit(d)
	if err != nil {
		return nil, err
	}
	list := make([]Pair, len(columns))
	w := make([]float64, len(d.Columns))
	for l := range list {
		clear(w)
		w[first+l] = 1
		own, err := judge(apart, w, len(list))
		if err != nil {
			return nil, fmt.Errorf("the slope on %s: %w", factor.Levels[l], err)
		}
		own.A = l
		list[l] = own
	}
	return list, nil
}

var errNoSlopeSpread = errors.New("no spread is left to measure it by")

// Among is the estimate as one of so many whose tests and intervals hold at once, by
// Bonferroni.
func (e Estimate) Among(n int) (Pair, error) {
	if !e.OK() {
		return Pair{}, errNoSlopeSpread
	}
	k := float64(n)
	return Pair{Estimate: e, PSingle: e.P(), P: min(1, k*e.P()), CI95: e.within(e.quantile(0.05 / k))}, nil
}

// Profiled is a model whose linear functions are judged by a profile.
type Profiled interface {
	Model
	Profile(w []float64, level float64) (Profile, error)
}

// ProfileAmong is Among by the profile of wᵀβ.
func ProfileAmong(m Profiled, w []float64, n int) (Pair, error) {
	k := float64(n)
	p, err := m.Profile(w, 1-0.05/k)
	if err == nil && !p.OK() {
		err = errNoSlopeSpread
	}
	return Pair{Estimate: p.Estimate, PSingle: p.P, P: min(1, k*p.P), CI95: p.Limits}, err
}

// Bend tests whether the response to light is no straight line: the square of light
// beside the model. OK is false where the model has no light, or it takes too few
// values.
func Bend(m Wider) Test {
	d := m.design()
	e, ok := d.Effect(LightTerm)
	if !ok {
		return Test{}
	}
	x := d.Columns[e.First].Values
	middle, square := mean(x), make([]float64, len(x))
	for i, v := range x {
		square[i] = (v - middle) * (v - middle)
	}
	return m.joined([][]float64{square})
}
