package model

import "math"

// Weighed is a model that is fitted by least squares over rows, weighted where counts
// are fitted, so that errors can be had of it that hold without one spread.
type Weighed interface {
	Model
	weighed() *weighed
}

// weighed is a fit as one by least squares.
type weighed struct {
	*Design
	q         [][]float64 // orthonormal columns
	residuals []float64
	rss       float64
	exact     bool
	used      []bool // rows that tell anything; nil where all do
	linear    func(w []float64) Estimate
	solveT    func(w []float64) []float64
}

func (f *Fit) weighed() *weighed {
	return &weighed{Design: f.Design, q: f.basis.q, residuals: f.Residuals, rss: f.RSS, exact: f.Exact, linear: f.Linear, solveT: f.basis.solveT}
}

// weighed takes Pearson's residuals under the working weights: what a row's count does to
// wᵀβ is as in least squares, near the fit.
func (f *CountFit) weighed() *weighed {
	m := &weighed{Design: f.Design, used: f.glm.used, linear: f.Linear, solveT: f.glm.solveT}
	if m.residuals, m.q = f.remains(); m.residuals == nil {
		m.exact = true
		return m
	}
	m.rss = dot(m.residuals, m.residuals)
	return m
}

// tells tells whether a row says anything.
func (m *weighed) tells(row int) bool { return m.used == nil || m.used[row] }

// shares are what each row's value, over its spread, has in wᵀβ.
func (m *weighed) shares(w []float64) []float64 {
	c := make([]float64, m.N)
	for k, g := range m.solveT(w) {
		for i, v := range m.q[k] {
			c[i] += g * v
		}
	}
	return c
}

// CountsSpread tests whether counts spread alike about their means in all cells, as
// BrownForsythe does of Pearson's residuals; rows of levels without any event tell
// nothing.
func (f *CountFit) CountsSpread(cell []int) Test {
	var left []float64
	var cells []int
	for i, e := range f.PearsonResiduals() {
		if f.glm.used[i] && !math.IsNaN(e) {
			left, cells = append(left, e), append(cells, cell[i])
		}
	}
	return BrownForsythe(left, cells)
}
