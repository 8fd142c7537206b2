package dist

import (
	"math"
	"slices"
)

// FalseDiscovery gives the p values adjusted by the step-up procedure that
// keeps the expected share of false discoveries within the level at which they
// are read: min over j ≥ i of m·p₍ⱼ₎/j, at most 1. The order of p is kept.
//
// Reference: Benjamini, Hochberg (1995). J. R. Statist. Soc. B 57:289–300.
func FalseDiscovery(p []float64) []float64 {
	m := len(p)
	order := make([]int, m)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case p[a] < p[b]:
			return -1
		case p[a] > p[b]:
			return 1
		}
		return 0
	})
	adjusted := make([]float64, m)
	least := 1.0
	for rank, i := range slices.Backward(order) {
		least = math.Min(least, p[i]*float64(m)/float64(rank+1))
		adjusted[i] = least
	}
	return adjusted
}
