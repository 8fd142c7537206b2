package model

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// fewestBins is the number of bins under which they can't judge a slope.
const fewestBins = 3

// ByBins estimates wᵀβ where rows of one bin resemble one another in a way that the
// model misses: its error is that by which bins differ in what they say of it.
//
//	wᵀβ = Σ cᵢ yᵢ,  u_b = Σ {cᵢ (A_b e_b)ᵢ : i in b},  var = Σ u_b²
//	A_b = (I − H_bb)^(−½), of what is no rounding
//
// Each u_b is a linear function g_bᵀε, and df = (Σ g_bᵀg_b)² / Σ (g_bᵀg_c)². OK is
// false under three bins.
//
// Bell, McCaffrey (2002), Survey Methodology 28(2):169–181 (from memory).
func ByBins(m Weighed, w []float64) (e Estimate, ok bool) {
	f := m.weighed()
	d := f.Design
	if d.bin < 0 || f.exact {
		return Estimate{}, false
	}
	rows := make([][]int, len(d.Factors[d.bin].Levels))
	for i, b := range d.Factors[d.bin].Of {
		if f.tells(i) {
			rows[b] = append(rows[b], i)
		}
	}
	rows = slices.DeleteFunc(rows, func(of []int) bool { return len(of) == 0 })
	c := f.shares(w)
	var variance float64
	var sizes []float64       // aᵀa of each bin, a = A c
	var projected [][]float64 // Qᵀa
	for _, of := range rows {
		a, ok := f.adjusted(of, c)
		if !ok {
			return Estimate{}, false
		}
		u := 0.0
		for i, r := range of {
			u += a[i] * f.residuals[r]
		}
		variance += u * u
		sizes, projected = append(sizes, dot(a, a)), append(projected, f.within(of, a))
	}
	var trace, square float64 // of g_bᵀg_c = a_bᵀ (I − H) a_c
	for b, own := range projected {
		for c, other := range projected {
			v := -dot(own, other)
			if b == c {
				v += sizes[b]
				trace += v
			}
			square += v * v
		}
	}
	return Estimate{Value: f.linear(w).Value, SE: math.Sqrt(variance), DF: trace * trace / square}, len(sizes) >= fewestBins
}

// within is Q_bᵀx over the rows of a bin.
func (m *weighed) within(of []int, x []float64) []float64 {
	v := make([]float64, len(m.q))
	for k, q := range m.q {
		for i, r := range of {
			v[k] += q[r] * x[i]
		}
	}
	return v
}

// adjusted is A c over the rows of a bin, by the eigenvectors v of Q_bᵀQ_b, whose
// eigenvalues λ are those of H_bb.
//
//	A c = c + Q_b Σ v {(1 − λ)^(−½) − 1}/λ vᵀQ_bᵀc
func (m *weighed) adjusted(of []int, c []float64) (a []float64, ok bool) {
	p := len(m.q)
	hat := mat.NewSymDense(p, nil)
	row := mat.NewVecDense(p, nil)
	a = make([]float64, len(of))
	for i, r := range of {
		a[i] = c[r]
		for k := range p {
			row.SetVec(k, m.q[k][r])
		}
		hat.SymRankOne(hat, 1, row)
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(hat, true) {
		return nil, false
	}
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	along, turn := m.within(of, a), make([]float64, p)
	for j, lambda := range eigen.Values(nil) {
		if lambda < rankLimit {
			continue
		}
		grow := -1.0 // what the model takes as a whole has no residual
		if 1-lambda > rankLimit {
			grow += 1 / math.Sqrt(1-lambda)
		}
		for k := range p {
			for l := range p {
				turn[k] += vectors.At(k, j) * grow / lambda * vectors.At(l, j) * along[l]
			}
		}
	}
	for i, r := range of {
		for k, q := range m.q {
			a[i] += q[r] * turn[k]
		}
	}
	return a, true
}
