package model

import (
	"math"

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
func (f *Fit) ByBins(w []float64) (e Estimate, ok bool) {
	d := f.Design
	if d.bin < 0 || f.Exact {
		return Estimate{}, false
	}
	rows := make([][]int, len(d.Factors[d.bin].Levels))
	for i, b := range d.Factors[d.bin].Of {
		rows[b] = append(rows[b], i)
	}
	c := f.shares(w)
	q := f.basis.q
	var g []*mat.VecDense
	var variance float64
	for _, of := range rows {
		n := len(of)
		if n == 0 {
			continue
		}
		left := mat.NewSymDense(n, nil)
		for i, r := range of {
			for j, s := range of[:i+1] {
				v := 0.0
				if i == j {
					v = 1
				}
				for k := range q {
					v -= q[k][r] * q[k][s]
				}
				left.SetSym(i, j, v)
			}
		}
		var eigen mat.EigenSym
		if !eigen.Factorize(left, true) {
			return Estimate{}, false
		}
		a := rooted(&eigen, of, c)
		u := 0.0
		for i, r := range of {
			u += a[i] * f.Residuals[r]
		}
		variance += u * u
		g = append(g, f.leaves(of, a))
	}
	var trace, square float64
	for i, a := range g {
		for j, b := range g {
			v := mat.Dot(a, b)
			square += v * v
			if i == j {
				trace += v
			}
		}
	}
	return Estimate{Value: f.Linear(w).Value, SE: math.Sqrt(variance), DF: trace * trace / square}, len(g) >= fewestBins
}

// rooted is A c over the rows of a bin.
func rooted(eigen *mat.EigenSym, of []int, c []float64) []float64 {
	var vectors mat.Dense
	eigen.VectorsTo(&vectors)
	a := make([]float64, len(of))
	for k, v := range eigen.Values(nil) {
		if v < 1e-9 {
			continue
		}
		along := 0.0
		for i, r := range of {
			along += vectors.At(i, k) * c[r]
		}
		for i := range of {
			a[i] += along / math.Sqrt(v) * vectors.At(i, k)
		}
	}
	return a
}

// leaves is (I − H) of what lies in a bin's rows.
func (f *Fit) leaves(of []int, a []float64) *mat.VecDense {
	x := mat.NewVecDense(f.Design.N, nil)
	for i, r := range of {
		x.SetVec(r, a[i])
	}
	for _, u := range f.basis.q {
		along := 0.0
		for i, r := range of {
			along += u[r] * a[i]
		}
		x.AddScaledVec(x, -along, mat.NewVecDense(len(u), u))
	}
	return x
}
