package model

import "slices"

// EqualSlopes tests for each covariate and for light whether its slope is the
// same at all levels of a treatment, one treatment at a time: the drop in
// residual sum of squares when the products join the model, over the mean
// square that is then left. Effect is named "start_g × medium".
func (f *Fit) EqualSlopes() []Test {
	var tests []Test
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
			tests = append(tests, test)
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
