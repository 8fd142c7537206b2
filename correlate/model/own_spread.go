package model

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// OwnSpread estimates linear functions of a fit's coefficients where each group of rows
// has a spread of its own.
//
//	wᵀβ = Σ cᵢ yᵢ,  var = Σ over groups s²_g a_g,  a_g = Σ {cᵢ² : i in g}
//	r_g = Σ {eᵢ² : i in g},  B s² = r,  B_gh = Σ {m²ᵢⱼ : i in g, j in h},  m = I − H
//	df = var² / Σ (s²_g a_g)²/ν_g,  ν_g = (Σ mᵢᵢ)² / B_gg over g
//
// The s² are unbiased; where one comes out as none, all are r_g / Σ mᵢᵢ. In a model of
// one treatment this is Welch's standard error with Satterthwaite's degrees of freedom,
// and over all pairs Games and Howell's test.
//
// Rao (1970), Journal of the American Statistical Association 65:161–172, for unbiased
// variances of groups; Satterthwaite (1946), Biometrics Bulletin 2:110–114 (both from
// memory).
type OwnSpread struct {
	f        *weighed
	group    []int     // of each row; −1 where it tells nothing
	variance []float64 // s², by group
	freedom  []float64 // ν
}

// OwnSpreads takes each row's group, from 0. Groups of which no row tells anything are
// left out. OK is false where a group has less than one row to spare, or no spread.
func OwnSpreads(m Weighed, group []int) (o *OwnSpread, ok bool) {
	f := m.weighed()
	group, groups := f.telling(group)
	if f.exact || groups == 0 {
		return nil, false
	}
	p := len(f.q)
	o = &OwnSpread{f: f, group: group, variance: make([]float64, groups), freedom: make([]float64, groups)}
	hats := make([]*mat.SymDense, groups) // Σ qᵢ qᵢᵀ
	rows, sums := make([]float64, groups), mat.NewVecDense(groups, nil)
	for g := range hats {
		hats[g] = mat.NewSymDense(p, nil)
	}
	q := mat.NewVecDense(p, nil)
	for i, g := range group {
		if g < 0 {
			continue
		}
		for k := range p {
			q.SetVec(k, f.q[k][i])
		}
		hats[g].SymRankOne(hats[g], 1, q)
		rows[g]++
		sums.SetVec(g, sums.AtVec(g)+f.residuals[i]*f.residuals[i])
	}
	b := mat.NewDense(groups, groups, nil)
	left := make([]float64, groups) // Σ mᵢᵢ
	for g, own := range hats {
		left[g] = rows[g] - mat.Trace(own)
		for h, other := range hats[:g+1] {
			v := inner(own, other)
			if g == h {
				v += rows[g] - 2*mat.Trace(own)
			}
			b.Set(g, h, v)
			b.Set(h, g, v)
		}
		if left[g] < 1-1e-9 || !(sums.AtVec(g) > exactLimit*exactLimit*f.rss) {
			return nil, false
		}
		o.freedom[g] = left[g] * left[g] / b.At(g, g)
	}
	var s mat.VecDense
	plain := s.SolveVec(b, sums) != nil
	for g := range groups {
		plain = plain || !(s.AtVec(g) > 0)
	}
	for g := range groups {
		if o.variance[g] = sums.AtVec(g) / left[g]; !plain {
			o.variance[g] = s.AtVec(g)
		}
	}
	return o, true
}

// inner is the trace of the product of two symmetric matrices.
func inner(a, b *mat.SymDense) (sum float64) {
	x, y := a.RawSymmetric(), b.RawSymmetric() // the upper triangles alone
	for i := range x.N {
		from := i * x.Stride
		sum += x.Data[from+i]*y.Data[from+i] + 2*dot(x.Data[from+i+1:from+x.N], y.Data[from+i+1:from+x.N])
	}
	return sum
}

// Linear estimates wᵀβ.
func (o *OwnSpread) Linear(w []float64) Estimate {
	each := make([]float64, len(o.variance))
	for i, c := range o.f.shares(w) {
		if g := o.group[i]; g >= 0 {
			each[g] += c * c
		}
	}
	var variance, less float64
	for g, a := range each {
		v := o.variance[g] * a
		variance += v
		less += v * v / o.freedom[g]
	}
	return Estimate{Value: o.f.linear(w).Value, SE: math.Sqrt(variance), DF: max(1, variance*variance/less)}
}

// telling numbers anew the groups that have rows that tell something.
func (m *weighed) telling(group []int) (own []int, groups int) {
	number := map[int]int{}
	own = make([]int, len(group))
	for i, g := range group {
		own[i] = -1
		if !m.tells(i) {
			continue
		}
		n, ok := number[g]
		if !ok {
			n = len(number)
			number[g] = n
		}
		own[i] = n
	}
	return own, len(number)
}

// Pairs compares a family's cells with each pair's own standard error and degrees of
// freedom, by the studentized range of as many means as are compared.
func (o *OwnSpread) Pairs(m Means) []Pair {
	var pairs []Pair
	for _, p := range m.Pairs {
		w := append([]float64(nil), o.f.Weights(m.Cells[p.A]...)...)
		for j, v := range o.f.Weights(m.Cells[p.B]...) {
			w[j] -= v
		}
		if e := o.Linear(w); e.OK() {
			pairs = append(pairs, Pair{A: p.A, B: p.B, Estimate: e})
		}
	}
	return testedApart(pairs, m.compared())
}
