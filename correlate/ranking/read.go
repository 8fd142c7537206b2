package ranking

import (
	"slices"

	"parstead/correlate/analysis"
)

// Reading is what a comparison is read as.
type Reading struct {
	analysis.Contrast
	Limits  *analysis.Limits
	Verdict string
}

// Differs tells whether the reading leaves no difference out.
func (r Reading) Differs() bool {
	return r.Verdict == analysis.Larger || r.Verdict == analysis.Smaller
}

// Read is a comparison by its own interval or, where spreads differ and each level's
// own spread is known, by these; of counts by the wider of the two.
func Read(r *analysis.OutcomeResult, c *analysis.Comparison) Reading {
	own := Reading{analysis.Contrast{Difference: c.Difference, Ratio: c.Ratio, CI95: c.CI95.Closed(), P: c.P}, c.CI95, c.Verdict}
	u := r.UnequalSpread
	if u == nil || !r.SpreadsDiffer() && !u.Wider {
		return own
	}
	i := slices.IndexFunc(u.GamesHowell, func(p analysis.PairSpread) bool { return c.CellA.Apart(p.CellA) == 0 && c.CellB.Apart(p.CellB) == 0 })
	if i < 0 || u.GamesHowell[i].CI95 == nil {
		return own
	}
	apart := u.GamesHowell[i].Contrast
	if u.Wider && own.CI95 != nil && own.CI95[0] <= apart.CI95[0] { // both are of one estimate
		return own
	}
	return Reading{apart, (*analysis.Limits)(apart.CI95), apart.Verdict}
}
