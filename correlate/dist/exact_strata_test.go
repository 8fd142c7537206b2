package dist

import (
	"math"
	"testing"
)

// Penicillin in rabbits: the exact conditional test that the odds ratio common to five
// two-by-two tables is one, p 0.03994 (Mantel, Haenszel 1959; the data and the value
// stand in the help of R's mantelhaen.test, data with exact = TRUE; from memory;
// R 4 gives 0.03994490358).
func TestExactStrataOfTwoLevels(t *testing.T) {
	t.Parallel()
	// delayed and immediate injection; cured and died, by penicillin level
	strata := [][][]int{{{0, 6}, {0, 5}}, {{3, 3}, {0, 6}}, {{6, 0}, {2, 4}}, {{5, 1}, {6, 0}}, {{2, 0}, {5, 0}}}
	got := ExactStrata(strata, 1)
	if got.Drawn != 0 || math.Abs(got.P-0.03994490358) > 1e-10 {
		t.Errorf("p %.6f of %d sums, want 0.03994490358", got.P, got.Tables)
	}
}

// Sums over strata by listing every deal of every plant, worked out here; and the
// drawn p within four Monte Carlo errors of the listed one where both use sums.
func TestExactStrataOfThreeLevels(t *testing.T) {
	t.Parallel()
	strata := [][][]int{{{2, 1}, {0, 3}, {1, 1}}, {{0, 2}, {1, 2}, {2, 0}}}
	want := strataByHand(strata)
	if got := ExactStrata(strata, 1); math.Abs(got.P-want) > 1e-12 {
		t.Errorf("p %g, want %g", got.P, want)
	}
	if one := ExactStrata(strata[:1], 1); math.Abs(one.P-ExactTable(strata[0], 1).P) > 1e-12 {
		t.Errorf("one stratum: p %g", one.P)
	}
	if p := drawStrata([][][]int{{{30, 10}, {12, 28}}, {{20, 20}, {11, 29}}}, []int{50, 23}, 1); p > 0.001 {
		t.Errorf("p %g of 50 against 23 events", p)
	}
}

// strataByHand deals each stratum's events to its plants in every way.
func strataByHand(strata [][][]int) float64 {
	type sum [3]int
	chance := map[sum]float64{{}: 1}
	var observed sum
	for _, table := range strata {
		var of []int
		events := 0
		for l, row := range table {
			observed[l] += row[0]
			events += row[0]
			for range row[0] + row[1] {
				of = append(of, l)
			}
		}
		next := map[sum]float64{}
		ways := 0.0
		for set := range 1 << len(of) {
			var s sum
			n := 0
			for i, l := range of {
				if set>>i&1 == 1 {
					s[l]++
					n++
				}
			}
			if n != events {
				continue
			}
			ways++
			for before, c := range chance {
				next[sum{before[0] + s[0], before[1] + s[1], before[2] + s[2]}] += c
			}
		}
		for s := range next {
			next[s] /= ways
		}
		chance = next
	}
	p := 0.0
	for _, c := range chance {
		if c <= chance[observed]*(1+1e-9) {
			p += c
		}
	}
	return p
}
