package kind

import (
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/model"

	"parstead/correlate/power"
)

// Measure is a quantity: mass, length.
var Measure = Kind{
	Name: analysis.Measure, Says: "a measure",
	Settings: []string{"basis", "start", "start_basis", "scale"},
	Measured: true, InBins: true,
	Refuses:  func(float64) bool { return false },
	Contrast: measured,
	Size:     sizeMeans,
}

func measured(s analysis.Scale) Contrast {
	if s == analysis.Log {
		return Ratio
	}
	return Difference
}

// sizeMeans sizes a measure by the non-central F.
func sizeMeans(f *analysis.Planning, n *analysis.Need, asked float64, _ uint64) error {
	apart, err := Amount(f, *f.Matters, measured(f.Scale))
	if err != nil {
		return err
	}
	if !(f.SD > 0 && apart > 0) || math.IsInf(f.SD, 0) || math.IsInf(apart, 0) {
		return errNoSpread
	}
	if f.Scale == analysis.Log {
		n.Ratio = analysis.Known(math.Exp(apart))
	} else {
		n.Difference = analysis.Known(apart)
	}
	m := power.Means{Layout: f.Layout, SD: f.SD, Difference: apart}
	n.SD = analysis.Known(f.SD)
	if f.Unit == model.PerBin && f.PlantSD > 0 {
		n.PlantSD, n.BinSD = analysis.Known(f.PlantSD), analysis.Known(f.BinSD)
	}
	count, err := m.Replicates(asked)
	if err != nil {
		return err
	}
	n.SetReplicates(count)
	n.Power = analysis.Known(m.Power(count))
	if f.Layout.Levels > 2 {
		if pair, err := m.PairReplicates(asked); err == nil {
			n.EachPair = &pair
		}
	}
	if f.DF > 0 {
		n.DF = analysis.Known(f.DF)
		n.SDCI95 = &[2]float64{f.SD * sdLimit(f.DF, 0.975), f.SD * sdLimit(f.DF, 0.025)}
		low, high := m, m
		low.SD, high.SD = n.SDCI95[0], n.SDCI95[1]
		least, err := low.Replicates(asked)
		if most, err2 := high.Replicates(asked); err == nil && err2 == nil {
			n.CI95 = &[2]int{least, most}
		}
	}
	if f.Bare > 0 {
		bare := m
		bare.SD = f.Bare
		if count, err := bare.Replicates(asked); err == nil {
			n.WithoutCovariates = &count
		}
	}
	if n.RackHolds != nil {
		if f.Scale == analysis.Log {
			n.SmallestRatio = analysis.Known(math.Exp(m.Smallest(*n.RackHolds, asked)))
		} else {
			n.SmallestDifference = analysis.Known(m.Smallest(*n.RackHolds, asked))
		}
	}
	return nil
}
