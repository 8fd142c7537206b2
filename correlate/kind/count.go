package kind

import (
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/power"
)

// Count is a whole number of events: leaves, plantlets.
var Count = Kind{
	Name: analysis.Count, Says: "a count",
	Settings: []string{"exposure"},
	Note:     "how many",
	Counted:  true, InBins: true,
	Refuses: func(x float64) bool { return x < 0 || x != math.Trunc(x) },
	Values:  "counts are 0, 1, 2, ...", Write: "a whole number",
	Contrast: func(analysis.Scale) Contrast { return Ratio },
	Size:     sizeCounts,
}

// sizeCounts sizes a count by simulation.
func sizeCounts(f *analysis.Planning, n *analysis.Need, asked float64, seed uint64) error {
	apart, err := Amount(f, *f.Matters, Ratio)
	if err != nil {
		return err
	}
	if !(f.SD > 0 && f.Mean > 0 && apart > 0) || math.IsInf(f.SD, 0) || math.IsInf(f.Mean, 0) || math.IsInf(apart, 0) {
		return errNoSpread
	}
	n.Ratio, n.Dispersion, n.DF = analysis.Known(math.Exp(apart)), analysis.Known(f.SD), analysis.Known(f.DF)
	c := power.Counts{Layout: f.Layout, Mean: f.Mean, Dispersion: f.SD, Ratio: math.Exp(apart), Seed: seed}
	found, err := c.Replicates(asked)
	if err != nil {
		return err
	}
	n.SetReplicates(found.Replicates)
	low, high := c, c
	low.Dispersion *= math.Pow(sdLimit(f.DF, 0.975), 2)
	high.Dispersion *= math.Pow(sdLimit(f.DF, 0.025), 2)
	least, err := low.About(asked)
	if most, err2 := high.About(asked); err == nil && err2 == nil {
		n.CI95 = &[2]int{min(least, found.Replicates), max(most, found.Replicates)}
	}
	n.Power, n.MonteCarloError = analysis.Known(found.Power), analysis.Known(found.Error)
	if n.RackHolds != nil {
		if ratio, err := c.Smallest(*n.RackHolds, asked); err == nil {
			n.SmallestRatio = analysis.Known(ratio)
		}
	}
	return nil
}
