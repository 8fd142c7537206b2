package model

import (
	"math"
	"slices"

	"parstead/correlate/dist"
)

// BrownForsythe tests whether residuals spread alike in all cells: an F test
// of the distances to each cell's median.
//
//	zᵢ = |eᵢ − median of its cell|
//
// cell gives each residual's cell, from 0. OK is false with fewer than two
// cells, no row to spare, or distances that do not vary within cells.
//
// Brown, Forsythe (1974), Journal of the American Statistical Association
// 69:364–367.
func BrownForsythe(residuals []float64, cell []int) Test {
	groups := grouped(residuals, cell)
	for _, g := range groups {
		m := median(g)
		for i, e := range g {
			g[i] = math.Abs(e - m)
		}
	}
	t := Test{DF: [2]float64{float64(len(groups) - 1), float64(len(residuals) - len(groups))}}
	if t.DF[0] < 1 || t.DF[1] < 1 {
		return t
	}
	grand := mean(slices.Concat(groups...))
	var between, within float64
	for _, g := range groups {
		m := mean(g)
		between += float64(len(g)) * (m - grand) * (m - grand)
		for _, z := range g {
			within += (z - m) * (z - m)
		}
	}
	if size := maxAbs(residuals); within <= exactLimit*exactLimit*size*size {
		return t
	}
	t.f(between / t.DF[0] / (within / t.DF[1]))
	return t
}

// Welch tests whether groups have one mean without taking their spreads to be
// the same. OK is false with fewer than two groups, or where a group has fewer
// than two values or no spread.
//
//	wⱼ = nⱼ / sⱼ²,  W = Σ wⱼ,  ȳ = Σ wⱼ ȳⱼ / W,  Λ = Σ (1 − wⱼ/W)² / (nⱼ − 1)
//	F  = [Σ wⱼ (ȳⱼ − ȳ)² / (k − 1)] / [1 + 2 (k − 2) Λ / (k² − 1)]
//	df = k − 1, (k² − 1) / (3 Λ)
//
// Welch (1951), Biometrika 38:330–336.
func Welch(groups [][]float64) Test {
	means := make([]Estimate, len(groups))
	for j, g := range groups {
		m, v, ok := meanVariance(g)
		if !ok {
			return Test{}
		}
		n := float64(len(g))
		means[j] = Estimate{Value: m, SE: math.Sqrt(v / n), DF: n - 1}
	}
	return Agree(means).Test
}

// GamesHowell compares every pair of groups, each pair with its own spreads and
// degrees of freedom, by the studentized range of all groups. Pairs with a
// group of fewer than two values, or without spread, are left out.
//
//	se² = s_a²/n_a + s_b²/n_b,  df = se⁴ / Σ (sⱼ²/nⱼ)²/(nⱼ − 1)
//
// Games, Howell (1976), Journal of Educational Statistics 1:113–125.
func GamesHowell(groups [][]float64) []Pair {
	var pairs []Pair
	for a, ga := range groups {
		ma, va, okA := meanVariance(ga)
		for b, gb := range groups[:a] {
			mb, vb, okB := meanVariance(gb)
			if !okA || !okB {
				continue
			}
			sa, sb := va/float64(len(ga)), vb/float64(len(gb))
			se2 := sa + sb
			ra, rb := sa/se2, sb/se2
			e := Estimate{Value: ma - mb, SE: math.Sqrt(se2), DF: max(1, 1/(ra*ra/float64(len(ga)-1)+rb*rb/float64(len(gb)-1)))}
			if e.OK() {
				pairs = append(pairs, Pair{A: a, B: b, Estimate: e})
			}
		}
	}
	return testedApart(pairs, len(groups))
}

// testedApart tests pairs among so many means of which each has degrees of freedom of
// its own.
func testedApart(pairs []Pair, means int) []Pair {
	if len(pairs) == 0 {
		return nil
	}
	df := make([]float64, len(pairs))
	for i, p := range pairs {
		df[i] = p.DF
	}
	var q []float64
	var r *dist.StudentizedRange
	if means > 2 { // two are compared by Student's t
		r = dist.NewStudentizedRange(means, df[0])
		q = r.Points(0.05, df)
	}
	for i := range pairs {
		p, s := &pairs[i], studentized{}
		if r != nil {
			s.own, s.q95 = critical{means: means, df: df[i], r: r.With(df[i])}, q[i]
		}
		*p = s.pair(p.A, p.B, p.Estimate, means)
	}
	return pairs
}

// meanVariance is ok with two values or more that are not all the same.
func meanVariance(x []float64) (m, v float64, ok bool) {
	if len(x) < 2 {
		return 0, 0, false
	}
	m, sd := MeanSD(x)
	return m, sd * sd, sd > constantLimit*math.Abs(m) && sd > smallest && sd <= largest
}

// grouped sorts values by cell, leaving empty cells out.
func grouped(values []float64, cell []int) [][]float64 {
	groups := make([][]float64, slices.Max(append([]int{-1}, cell...))+1)
	for i, c := range cell {
		groups[c] = append(groups[c], values[i])
	}
	return slices.DeleteFunc(groups, func(g []float64) bool { return len(g) == 0 })
}

func median(x []float64) float64 {
	s := slices.Sorted(slices.Values(x))
	if n := len(s); n%2 == 0 {
		return s[n/2-1]/2 + s[n/2]/2
	}
	return s[len(s)/2]
}
