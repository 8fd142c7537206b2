package model

// Test is the F test of one effect.
type Test struct {
	Effect string
	Kind   Kind
	F      float64
	DF     [2]float64 // of the effect, of the residual
	P      float64
	OK     bool // false where the fit is exact
}

// Partial tests every effect but the intercept, in the design's order: the
// drop in residual sum of squares when the effect joins all effects that do
// not contain it, over the full model's residual mean square.
//
//	F = (ΔRSS / df) / s²
func (f *Fit) Partial() []Test {
	var tests []Test
	for i, e := range f.Design.Effects {
		if e.Kind != KindIntercept {
			tests = append(tests, f.partial(i))
		}
	}
	return tests
}

// partial works in the coordinates of Q, where the columns of X are those of R
// and y is z: p numbers a column instead of n.
func (f *Fit) partial(effect int) Test {
	e := f.Design.Effects[effect]
	columns := f.before(effect)
	first := len(columns)
	for j := e.First; j < e.End; j++ {
		columns = append(columns, f.basis.r[j])
	}
	t := Test{Effect: e.Name, Kind: e.Kind, DF: [2]float64{float64(e.End - e.First), float64(f.DF)}}
	b, err := newBasis(columns, false)
	if err != nil || f.Exact {
		return t
	}
	z := make([]float64, len(columns))
	project(append([]float64(nil), f.z...), b.q, z)
	t.F = dot(z[first:], z[first:]) / t.DF[0] / f.MeanSquare()
	t.P = fUpper(t.F, t.DF[0], t.DF[1])
	t.OK = true
	return t
}

// before gives the columns of all other effects that do not contain the effect.
func (f *Fit) before(effect int) [][]float64 {
	e := f.Design.Effects[effect]
	var columns [][]float64
	for i, other := range f.Design.Effects {
		if i == effect || other.Contains(e) {
			continue
		}
		for j := other.First; j < other.End; j++ {
			columns = append(columns, f.basis.r[j])
		}
	}
	return columns
}

// Inflation is the variance inflation of a column that stands alone in its
// effect: its spread about its mean, over what is left of that when all other
// columns are removed.
//
//	vif = 1 / (1 − R²)
func (f *Fit) Inflation(column int) float64 {
	w := make([]float64, len(f.Beta))
	w[column] = 1
	x := append([]float64(nil), f.Design.Columns[column].Values...)
	if f.Design.Columns[0].Of == "intercept" {
		m := mean(x)
		for i := range x {
			x[i] -= m
		}
	}
	v := norm(x) * norm(f.basis.solveT(w))
	return v * v
}
