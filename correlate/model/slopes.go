package model

import (
	"fmt"
	"slices"
)

// SlopeTest is a test that a slope is the same at all levels of a treatment.
type SlopeTest struct {
	Test
	Of Term // the covariate or light
}

// EqualSlopes tests for each covariate and for light whether its slope is the
// same at all levels of a treatment, one treatment at a time: the drop in
// residual sum of squares when the products join the model, over the mean
// square that is then left. Effect is named "start_g × medium".
func (f *Fit) EqualSlopes() []SlopeTest {
	var tests []SlopeTest
	for _, e := range f.Design.Effects {
		if e.Kind != KindCovariate && e.Kind != KindLight {
			continue
		}
		x := f.Design.Columns[e.First].Values
		for _, t := range f.Design.treatments {
			factor := f.Design.Factors[t]
			products := make([][]float64, len(factor.Levels)-1)
			for l := range products {
				products[l] = make([]float64, f.Design.N)
			}
			for i, l := range factor.Of {
				if l > 0 {
					products[l-1][i] = x[i]
				}
			}
			test := f.joined(products)
			test.Term = Term{KindInteraction, e.A, factor.Name}
			tests = append(tests, SlopeTest{test, e.Term})
		}
	}
	return tests
}

// joined tests columns that join the model. Those that the others make up
// count for nothing.
func (f *Fit) joined(columns [][]float64) Test {
	q := f.basis.q
	for _, x := range columns {
		w := append([]float64(nil), x...)
		full := norm(w)
		project(w, q, make([]float64, len(q)))
		left := norm(w)
		if left <= rankLimit*full {
			continue
		}
		for i := range w {
			w[i] /= left
		}
		q = append(slices.Clip(q), w)
	}
	extra := len(q) - len(f.basis.q)
	t := Test{DF: [2]float64{float64(extra), float64(f.DF - extra)}}
	if extra == 0 || extra >= f.DF || f.Exact {
		return t
	}
	e := append([]float64(nil), f.Residuals...)
	z := make([]float64, extra)
	project(e, q[len(f.basis.q):], z)
	if rss := dot(e, e); rss > exactLimit*exactLimit*f.RSS {
		t.f(dot(z, z) / t.DF[0] / (rss / t.DF[1]))
	}
	return t
}

// SlopesByLevel estimates the slope of a covariate or of light at each level of a
// treatment, everything else as in the model: its column gives way to one for each
// level. The intervals and p hold for all levels at once, by Bonferroni. errors
// gives the estimates of the fit theirs.
//
// Errors: a level within which the column does not vary.
func (f *Fit) SlopesByLevel(of Term, treatment string, errors func(f *Fit) func(w []float64) Estimate) ([]Pair, error) {
	d := *f.Design
	e, ok := d.Effect(of)
	at := slices.IndexFunc(d.treatments, func(t int) bool { return d.Factors[t].Name == treatment })
	if !ok || at < 0 {
		return nil, fmt.Errorf("the model has no %s or no %s", of.Name(), treatment)
	}
	factor := d.Factors[d.treatments[at]]
	x := d.Columns[e.First].Values
	d.Effects = nil
	d.Columns = slices.Delete(slices.Clone(d.Columns), e.First, e.End)
	first := len(d.Columns)
	for l, level := range factor.Levels {
		c := Column{Term: of, Level: level, Values: make([]float64, d.N)}
		for i, own := range factor.Of {
			if own == l {
				c.Values[i] = x[i]
			}
		}
		d.Columns = append(d.Columns, c)
	}
	apart, err := d.Fit(f.Y)
	if err != nil {
		return nil, err
	}
	linear := errors(apart)
	list := make([]Pair, len(factor.Levels))
	w := make([]float64, len(d.Columns))
	for l := range list {
		clear(w)
		w[first+l] = 1
		own := linear(w)
		if !own.OK() {
			return nil, fmt.Errorf("no spread is left to measure the slope on %s by", factor.Levels[l])
		}
		k := float64(len(list))
		list[l] = Pair{A: l, Estimate: own, PSingle: own.P(), P: min(1, k*own.P()), CI95: own.within(own.quantile(0.05 / k))}
	}
	return list, nil
}

// Bend tests whether the response to light is no straight line: the square of light
// beside the model. OK is false where the model has no light, or it takes too few
// values.
func (f *Fit) Bend() Test {
	e, ok := f.Design.Effect(LightTerm)
	if !ok {
		return Test{}
	}
	x := f.Design.Columns[e.First].Values
	middle, square := mean(x), make([]float64, len(x))
	for i, v := range x {
		square[i] = (v - middle) * (v - middle)
	}
	return f.joined([][]float64{square})
}
