package model

import (
	"fmt"
	"math"
	"strings"
)

// basis is the factorisation X = Q R of a matrix of columns: Q with
// orthonormal columns, R upper triangular with a positive diagonal.
//
// It is found by modified Gram–Schmidt with every projection done twice,
// which keeps Q orthonormal to rounding and is as stable as Householder
// reflections [1], and gives Q itself, from which hat values, robust
// covariances and permutation tests are read. Columns are scaled by their
// length, so that units do not matter.
//
//  1. Giraud, Langou, Rozložník, van den Eshof (2005), Numerische Mathematik
//     101:87–100 ("twice is enough").
type basis struct {
	q [][]float64 // p columns of length n
	r [][]float64 // p columns of length p; r[j][k] is zero for k > j

	lead *condensed // the first columns, where they have few different rows; nil: not told apart
}

// rankLimit is the share of a column's length, after its mean is removed, that
// must be left when the columns before it are removed. Gonum's own limit
// (condition 1e16) lets collinear columns through.
const rankLimit = 1e-11

// constantLimit is the share of a column's length that must be left when its
// mean is removed.
const constantLimit = 1e-14

// collinear says that column j is a combination of earlier ones.
type collinear struct {
	j  int
	of []int
}

func (c *collinear) Error() string {
	return fmt.Sprintf("column %d is a combination of columns %v", c.j, c.of)
}

// newBasis factorises the columns in their order. centre tells that the first
// column is constant. The error is a *collinear.
func newBasis(columns [][]float64, centre bool) (*basis, error) {
	b, err := leading(columns, centre)
	if err != nil {
		return nil, err
	}
	for j := len(b.q); j < len(columns); j++ {
		x := columns[j]
		scale := maxAbs(x)
		if scale == 0 {
			return nil, &collinear{j: j}
		}
		w := make([]float64, len(x))
		for i, v := range x {
			w[i] = v / scale
		}
		full := norm(w)
		if centre && j > 0 {
			centred := append([]float64(nil), w...)
			project(centred, b.q[:1], make([]float64, 1))
			full = norm(centred)
			if full <= constantLimit*norm(w) {
				return nil, &collinear{j: j, of: []int{0}}
			}
		}
		r := make([]float64, len(columns))
		b.project(w, r)
		left := norm(w)
		if j > 0 && left <= rankLimit*full {
			return nil, &collinear{j: j, of: b.combination(r[:j])}
		}
		r[j] = left
		for i := range w {
			w[i] /= left
		}
		for k := range r {
			r[k] *= scale
		}
		b.q = append(b.q, w)
		b.r = append(b.r, r)
	}
	return b, nil
}

// combination lists the columns that make up the vector with the coordinates z.
func (b *basis) combination(z []float64) []int {
	beta := b.solve(z)
	var size float64
	for k := range beta {
		beta[k] *= norm(b.r[k])
		size = max(size, math.Abs(beta[k]))
	}
	var of []int
	for k, v := range beta {
		if math.Abs(v) > 1e-6*size {
			of = append(of, k)
		}
	}
	return of
}

// project removes from w its part in the span of Q and adds the coordinates of what it
// removed to z.
func (b *basis) project(w, z []float64) {
	if b.lead == nil {
		project(w, b.q, z)
		return
	}
	k := len(b.lead.q)
	for range 2 {
		b.lead.project(w, z)
		projectOnce(w, b.q[k:], z[k:])
	}
}

// project removes from w its part in the span of q, in two passes, and adds
// the coordinates of what it removed to z.
func project(w []float64, q [][]float64, z []float64) {
	for range 2 {
		projectOnce(w, q, z)
	}
}

func projectOnce(w []float64, q [][]float64, z []float64) {
	for k, u := range q {
		c := dot(u, w)
		z[k] += c
		for i, v := range u {
			w[i] -= c * v
		}
	}
}

// solve gives β with R β = z, for the leading len(z) columns.
func (b *basis) solve(z []float64) []float64 {
	beta := append([]float64(nil), z...)
	for j := len(beta) - 1; j >= 0; j-- {
		beta[j] /= b.r[j][j]
		for k := range j {
			beta[k] -= b.r[j][k] * beta[j]
		}
	}
	return beta
}

// solveT gives g with Rᵀ g = w: the length of g is the standard error of wᵀβ
// in units of the residual standard deviation.
func (b *basis) solveT(w []float64) []float64 {
	g := append([]float64(nil), w...)
	first := 0 // that is not zero
	for first < len(g) && g[first] == 0 {
		first++
	}
	for j := first; j < len(g); j++ {
		sum, row, known := g[j], b.r[j][first:j], g[first:j]
		for k, v := range known {
			sum -= row[k] * v
		}
		g[j] = sum / b.r[j][j]
	}
	return g
}

// hat gives the diagonal of Q Qᵀ.
func (b *basis) hat() []float64 {
	h := make([]float64, len(b.q[0]))
	for _, u := range b.q {
		for i, v := range u {
			h[i] += v * v
		}
	}
	return h
}

func dot(a, b []float64) float64 {
	var s float64
	for i, v := range a {
		s += v * b[i]
	}
	return s
}

func norm(a []float64) float64 { return math.Sqrt(dot(a, a)) }

func maxAbs(a []float64) float64 {
	var m float64
	for _, v := range a {
		m = max(m, math.Abs(v))
	}
	return m
}

// CollinearError says that a model's columns cannot be told apart: Column is a
// combination of the columns Of.
type CollinearError struct {
	Column Column
	Of     []Column
	Mixed  bool // only rows of bins where both answers occur were looked at
}

func (e *CollinearError) Error() string {
	rows := "the rows used"
	if e.Mixed {
		if rows = "the bins where both answers occur"; len(e.Of) == 0 {
			return fmt.Sprintf("%q is the same throughout each of %s, and no other bin tells of it: leave it out", e.Column, rows)
		}
	}
	if len(e.Of) == 0 {
		return fmt.Sprintf("%q is zero in every row used: leave it out", e.Column)
	}
	if len(e.Of) == 1 && e.Of[0].Kind == KindIntercept {
		return fmt.Sprintf("%q is the same in every row used: leave it out", e.Column)
	}
	var names []string
	for _, c := range e.Of {
		if c.Kind != KindIntercept {
			names = append(names, fmt.Sprintf("%q", c))
		}
	}
	return fmt.Sprintf("%q cannot be told apart from %s in %s: leave one out", e.Column, strings.Join(names, ", "), rows)
}

// basis factorises the design's columns, each row times its weight's square
// root where weights are given.
func (d *Design) basis(rootWeights []float64) (*basis, error) {
	columns := make([][]float64, len(d.Columns))
	for j, c := range d.Columns {
		columns[j] = c.Values
		if rootWeights != nil {
			columns[j] = make([]float64, d.N)
			for i, v := range c.Values {
				columns[j][i] = v * rootWeights[i]
			}
		}
	}
	b, err := newBasis(columns, rootWeights == nil && d.Columns[0].Kind == KindIntercept)
	if c, ok := err.(*collinear); ok { //nolint:errorlint // newBasis wraps nothing
		named := &CollinearError{Column: d.Columns[c.j]}
		for _, k := range c.of {
			named.Of = append(named.Of, d.Columns[k])
		}
		return nil, named
	}
	return b, err
}
