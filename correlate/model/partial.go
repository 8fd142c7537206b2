package model

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Statistic names what a test rests on.
type Statistic string

// The statistics of tests.
const (
	F     Statistic = "F"
	Chi2  Statistic = "chi2"
	Pairs Statistic = "pairs" // the smallest p of its pairs; no value and no degrees of freedom
	Dealt Statistic = "exact" // over all deals; no value and no degrees of freedom
)

// Test is the test of one effect.
type Test struct {
	Term
	Statistic Statistic // "" where no test was made
	Value     float64
	DF        [2]float64 // of the effect, of the residual: infinite with Chi2
	P         float64
	OK        bool // false where no spread is left to test by
	Eventless bool // of a count: a level, or a cell of an interaction, has no event
	TooFew    bool // no test, since too few rows are left to measure the spread by
}

// f fills in an F test.
func (t *Test) f(value float64) {
	t.Statistic, t.Value, t.OK = F, value, true
	t.P = fUpper(value, t.DF[0], t.DF[1])
}

// chiTest is the χ² test of one effect.
func chiTest(e Effect, chi2 float64) Test {
	t := Test{Term: e.Term, Statistic: Chi2, Value: math.Max(0, chi2), OK: true}
	t.DF = [2]float64{float64(e.End - e.First), math.Inf(1)}
	t.P = chiUpper(t.Value, t.DF[0])
	return t
}

// chiUpper is P(χ² ≥ x) on df degrees of freedom.
//
//	Q(df/2, x/2), the upper regularised incomplete gamma function
func chiUpper(x, df float64) float64 { return mathext.GammaIncRegComp(df/2, x/2) }

// Partial tests every effect but the intercept, in the design's order: the
// drop in residual sum of squares when the effect joins all effects that do
// not contain it, over the full model's residual mean square.
//
//	F = (ΔRSS / df) / s²
//
// Where slopes adjusted the rows, see carriedTests.
func (f *Fit) Partial() ([]Test, error) {
	if f.carrier != nil {
		covariance := func(g, h []float64) float64 { return f.MeanSquare()*dot(g, h) + f.carrier.shared(g, h) }
		return carriedTests(f, f.Design, float64(f.DF), covariance, f.basis.solveT)
	}
	return f.Design.each(func(effect int) (Test, error) { return f.partial(effect), nil })
}

// each tests every effect but the intercept.
func (d *Design) each(test func(effect int) (Test, error)) ([]Test, error) {
	var tests []Test
	for i, e := range d.Effects {
		if e.Kind == KindIntercept {
			continue
		}
		t, err := test(i)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", e.Name(), err)
		}
		tests = append(tests, t)
	}
	return tests, nil
}

// around gives the columns of all other effects that do not contain the effect,
// then its own, by index; before counts the former.
func (d *Design) around(effect int) (columns []int, before int) {
	e := d.Effects[effect]
	for i, other := range d.Effects {
		if i == effect || other.Contains(e) {
			continue
		}
		for j := other.First; j < other.End; j++ {
			columns = append(columns, j)
		}
	}
	before = len(columns)
	for j := e.First; j < e.End; j++ {
		columns = append(columns, j)
	}
	return columns, before
}

// partial works in the coordinates of Q, where the columns of X are those of R
// and y is z: p numbers a column instead of n.
func (f *Fit) partial(effect int) Test {
	e := f.Design.Effects[effect]
	list, first := f.Design.around(effect)
	columns := make([][]float64, len(list))
	for k, j := range list {
		columns[k] = f.basis.r[j]
	}
	t := Test{Term: e.Term, DF: [2]float64{float64(e.End - e.First), float64(f.DF)}}
	b, err := newBasis(columns, false)
	if err != nil || f.Exact {
		return t
	}
	z := make([]float64, len(columns))
	project(append([]float64(nil), f.z...), b.q, z)
	t.f(dot(z[first:], z[first:]) / t.DF[0] / f.MeanSquare())
	return t
}

// Inflation is the variance inflation of a column that stands alone in its
// effect: its spread about its mean, over what is left of that when all other
// columns are removed.
//
//	vif = 1 / (1 − R²)
func (d *Design) Inflation(column int) (float64, error) {
	b, err := d.basis(nil)
	if err != nil {
		return 0, err
	}
	w := make([]float64, len(d.Columns))
	w[column] = 1
	x := append([]float64(nil), d.Columns[column].Values...)
	if d.Columns[0].Kind == KindIntercept {
		m := mean(x)
		for i := range x {
			x[i] -= m
		}
	}
	v := norm(x) * norm(b.solveT(w))
	return v * v, nil
}
