package dist

import "math"

// OddsRatioInterval is the exact interval for the odds ratio of the table
//
//	yes₁ no₁
//	yes₂ no₂
//
// given its margins: all ψ for which neither P(X ≥ yes₁) nor P(X ≤ yes₁) is
// below (1 − level)/2, where
//
//	P(X = x) ∝ C(n₁, x) C(n₂, s − x) ψˣ,  nᵢ = yesᵢ + noᵢ, s = yes₁ + yes₂
//
// The lower end is 0 where yes₁ is as small as the margins allow, the upper end
// +Inf where it is as large. It panics on negative counts and levels outside
// (0, 1).
//
// Reference: Cornfield (1956). Proceedings of the Third Berkeley Symposium
// 4:135–148.
func OddsRatioInterval(yes1, no1, yes2, no2 int, level float64) [2]float64 {
	if yes1 < 0 || no1 < 0 || yes2 < 0 || no2 < 0 || !(level > 0 && level < 1) {
		panic("dist: an odds ratio's interval needs counts of zero or more and a level between 0 and 1")
	}
	n1, n2, s := yes1+no1, yes2+no2, yes1+yes2
	first, last := max(0, s-n2), min(s, n1)
	weights := make([]float64, last-first+1) // ln C(n₁, x) C(n₂, s − x)
	for i := range weights {
		x := first + i
		weights[i] = lnChoose(n1, x) + lnChoose(n2, s-x)
	}
	goal := math.Log((1 - level) / 2)
	// tail is ln P(X from a to b) at ln ψ, less the goal.
	tail := func(lnPsi float64, a, b int) float64 {
		var inside, all, top float64
		top = math.Inf(-1)
		for i, w := range weights {
			top = math.Max(top, w+float64(i)*lnPsi)
		}
		for i, w := range weights {
			p := math.Exp(w + float64(i)*lnPsi - top)
			all += p
			if x := first + i; x >= a && x <= b {
				inside += p
			}
		}
		return math.Log(inside/all) - goal
	}
	ends := [2]float64{0, math.Inf(1)}
	if yes1 > first {
		ends[0] = math.Exp(rising(func(v float64) float64 { return tail(v, yes1, last) }))
	}
	if yes1 < last {
		ends[1] = math.Exp(-rising(func(v float64) float64 { return tail(-v, first, yes1) }))
	}
	return ends
}

// rising finds where a function that rises crosses zero.
func rising(f func(float64) float64) float64 {
	lo, hi := -1.0, 1.0
	flo, fhi := f(lo), f(hi)
	for flo > 0 {
		hi, fhi = lo, flo
		lo *= 2
		if lo > 0 {
			lo = -1
		}
		flo = f(lo)
	}
	for fhi < 0 {
		lo, flo = hi, fhi
		if hi *= 2; hi < 0 {
			hi = 1
		}
		fhi = f(hi)
	}
	return Root(f, lo, flo, hi, fhi, 1e-13)
}

func lnChoose(n, k int) float64 {
	a, _ := math.Lgamma(float64(n) + 1)
	b, _ := math.Lgamma(float64(k) + 1)
	c, _ := math.Lgamma(float64(n-k) + 1)
	return a - b - c
}
