package kind

import (
	"fmt"

	"parstead/correlate/analysis"

	"parstead/correlate/phrase"
	"parstead/correlate/power"
)

// YesNo is whether something happened.
var YesNo = Kind{
	Name: analysis.YesNo, Says: "yes or no",
	Note:    "yes or no",
	Answers: true,
	Refuses: func(x float64) bool { return x != 0 && x != 1 },
	Values:  "answers are yes or no", Write: "yes or no",
	Contrast: func(analysis.Scale) Contrast { return OddsRatio },
	Size:     sizeShares,
}

// sizeShares sizes yes/no answers by the exact test of a pair.
func sizeShares(f *analysis.Planning, n *analysis.Need, asked float64, _ uint64) error {
	low, high := f.Mean-f.Matters.Value/2, f.Mean+f.Matters.Value/2
	if f.Matters.Share {
		high, low = power.Apart(f.Mean, 1+f.Matters.Value)
	}
	if !(0 <= low && low < high && high <= 1) {
		return fmt.Errorf("around a share of %s no two shares lie %s points of a hundred apart", phrase.Percent(f.Mean), phrase.Number(100*f.Matters.Value))
	}
	n.Shares = &[2]float64{low, high}
	n.Ratio = analysis.Known(high / (1 - high) / (low / (1 - low)))
	pairs := f.Layout.Levels * (f.Layout.Levels - 1) / 2
	s := power.Shares{A: high, B: low, Pairs: pairs}
	count, err := s.Replicates(asked)
	if err != nil {
		return err
	}
	n.SetReplicates(count)
	n.Power = analysis.Known(s.Power(count))
	if n.RackHolds != nil {
		n.SmallestRatio = analysis.Known(power.SmallestOdds(f.Mean, pairs, *n.RackHolds, asked))
	}
	return nil
}
