package model

import "testing"

// Nine bins of ten plants under three covers, by lm, the delta method and all 1,680
// deals in base R (testdata/cases/shares.R).
func TestUnitSharesAgainstReference(t *testing.T) {
	t.Parallel()
	var want struct {
		Yes   []int
		Pairs [][4]float64 // log odds ratio, standard error, limits
		P     []float64
	}
	readJSON(t, &want, "cases", "shares.json")
	bin := Factor{Name: "bin", Levels: []string{"1", "2", "3", "4", "5", "6", "7", "8", "9"}}
	cover := Factor{Name: "cover", Levels: []string{"a", "b", "c"}}
	var y []float64
	for b, yes := range want.Yes {
		for k := range 10 {
			bin.Of, cover.Of = append(bin.Of, b), append(cover.Of, b/3)
			answer := 0.0
			if k < yes {
				answer = 1
			}
			y = append(y, answer)
		}
	}
	means, pairs, err := UnitShares(bin, cover, nil, y)
	if err != nil || len(pairs) != 3 {
		t.Fatal(pairs, err)
	}
	near(t, "mean share", means[2].Value, 22./30, 1e-12, 0)
	deals, err := DealShares(bin, cover, nil, y, 1)
	if err != nil || !deals.Listed {
		t.Fatal(deals, err)
	}
	for k, p := range pairs {
		w := want.Pairs[k]
		near(t, "log odds ratio", p.Value, w[0], 1e-10, 0)
		near(t, "standard error", p.SE, w[1], 1e-10, 0)
		near(t, "lower limit", p.CI95[0], w[2], 1e-6, 1) // the software's own range stops earlier
		near(t, "upper limit", p.CI95[1], w[3], 1e-6, 1)
		near(t, "p over all deals", deals.Pairs[k], want.P[k], 1e-12, 0)
	}
}
