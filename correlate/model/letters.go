package model

import (
	"cmp"
	"slices"
)

// Letters marks groups so that two share a letter exactly when they are not
// among the pairs that differ. Letters run by falling mean: the largest has an a.
//
// Each pair that differs splits every set of groups that holds both; sets
// within others are absorbed [1].
//
//  1. Piepho (2004), Journal of Computational and Graphical Statistics 13:456–466.
func Letters(means []float64, differ [][2]int) []string {
	order := make([]int, len(means)) // group by rank
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(means[b], means[a]) })
	rank := make([]int, len(means))
	for r, g := range order {
		rank[g] = r
	}
	all := make([]bool, len(means))
	for i := range all {
		all[i] = true
	}
	sets := [][]bool{all} // by rank
	for _, pair := range differ {
		sets = split(sets, rank[pair[0]], rank[pair[1]])
	}
	slices.SortFunc(sets, func(a, b []bool) int {
		return slices.CompareFunc(a, b, func(x, y bool) int { // earlier ranks first
			switch {
			case x == y:
				return 0
			case x:
				return -1
			}
			return 1
		})
	})
	letters := make([]string, len(means))
	for s, set := range sets {
		for r, in := range set {
			if in {
				letters[order[r]] += letter(s)
			}
		}
	}
	return letters
}

// split parts every set that holds both a and b, and absorbs sets within others.
func split(sets [][]bool, a, b int) [][]bool {
	var kept, parts [][]bool
	for _, s := range sets {
		if !s[a] || !s[b] {
			kept = append(kept, s)
			continue
		}
		without := slices.Clone(s)
		without[a] = false
		s[b] = false
		parts = append(parts, s, without)
	}
	whole := len(kept)
	for i, part := range parts {
		absorbed := slices.ContainsFunc(kept[:whole], func(other []bool) bool { return within(part, other) })
		for j, other := range parts {
			// Of equal parts the last stays.
			absorbed = absorbed || j != i && within(part, other) && (j > i || !within(other, part))
		}
		if !absorbed {
			kept = append(kept, part)
		}
	}
	return kept
}

// within tells whether every member of a is one of b.
func within(a, b []bool) bool {
	for i, in := range a {
		if in && !b[i] {
			return false
		}
	}
	return true
}

// letter is the n-th mark: a to z, A to Z, then Greek.
func letter(n int) string {
	switch {
	case n < 26:
		return string(rune('a' + n))
	case n < 52:
		return string(rune('A' + n - 26))
	}
	return string(rune('α' + n - 52))
}
