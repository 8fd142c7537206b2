package sentences

import (
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
)

// eventless names the levels of a counted outcome on which nothing was counted, with
// the share of plants that might have had any all the same.
//
//	1 − 0.05^(1/n)
func (t *teller) eventless(e analysis.Effect, pairs []*analysis.Comparison) {
	if !kind.Of(t.r.Kind).Counted {
		return
	}
	for _, g := range t.r.Groups {
		if len(g.Cell) != 1 || g.Cell[0].Treatment != e.Term.A || g.Mean == nil || *g.Mean != 0 {
			continue
		}
		as := analysis.Open
		for _, c := range pairs {
			if c.OneSided() && (c.Standing.Told == analysis.Claim || c.Standing.Told == analysis.Lead) && (c.CellA[0] == g.Cell[0] || c.CellB[0] == g.Cell[0]) {
				as = c.Standing.Told
			}
		}
		t.say(as, analysis.About(e.Term), "%s: none of the %d plants on %s had any %s; of plants like these at most %s would (95 %% limit).",
			e.Effect, g.N, phrase.Cell(t.in, g.Cell), t.r.Name, phrase.Percent(1-math.Pow(0.05, 1/float64(g.N))))
	}
}

// oneSided words a comparison with a level without events by its limit; of yes/no
// answers it may be a level on which all are alike, which the shares before it tell.
func (t *teller) oneSided(c *analysis.Comparison) string {
	of, at, side := "some against none, ", "least", 0
	if math.IsInf(c.CI95[0], -1) {
		of, at, side = "none against some, ", "most", 1
	}
	if kind.Of(t.r.Kind).Answers {
		of = t.shares(*c) + "odds "
	}
	return of + times(c.CI95[side]) + " at " + at + " (95 % limit)"
}
