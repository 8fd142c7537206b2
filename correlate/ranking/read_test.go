package ranking

import (
	"testing"

	"parstead/correlate/analysis"
)

// Of a count's two intervals the wider one is told, with what it shows.
func TestTheWiderIntervalOfACountIsTold(t *testing.T) {
	t.Parallel()
	a, b := analysis.Cell{{Treatment: 0, Level: 1}}, analysis.Cell{{Treatment: 0, Level: 0}}
	ratio := 1.5
	for _, c := range []struct {
		alike, own [2]float64
		says, want string
		told       [2]float64
	}{
		{[2]float64{1.1, 2.05}, [2]float64{0.9, 2.5}, analysis.CantTell, analysis.CantTell, [2]float64{0.9, 2.5}},
		{[2]float64{1.1, 2.05}, [2]float64{1.2, 1.875}, analysis.Larger, analysis.Larger, [2]float64{1.1, 2.05}},
	} {
		limits := analysis.Limits(c.alike)
		pair := &analysis.Comparison{CellA: a, CellB: b, Ratio: &ratio, CI95: &limits, Verdict: analysis.Larger}
		r := &analysis.OutcomeResult{Kind: analysis.Count, UnequalSpread: &analysis.UnequalSpread{
			GamesHowell: []analysis.PairSpread{{CellA: a, CellB: b, Contrast: analysis.Contrast{Ratio: &ratio, CI95: &c.own, Verdict: c.says}}},
			Wider:       true,
		}}
		if read := Read(r, pair); *read.CI95 != c.told || read.Verdict != c.want || *read.Limits != analysis.Limits(c.told) {
			t.Errorf("%+v: %+v", c, read)
		}
	}
}
