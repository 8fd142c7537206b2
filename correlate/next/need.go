package next

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
	"parstead/correlate/power"
)

// sizing is what a size rests on: a trial's planning values, or what was asked in
// their place.
type sizing struct{ analysis.Planning }

// need sizes the next comparison of one treatment.
//
// Errors say why it has no size.
func (f sizing) need(a Ask, seed uint64) (analysis.Need, error) {
	switch {
	case f.Why != "":
		return analysis.Need{}, errors.New(f.Why)
	case f.Layout.Levels < 2:
		return analysis.Need{}, errors.New("one level alone is compared with nothing")
	}
	if err := f.take(a); err != nil {
		return analysis.Need{}, err
	}
	n := analysis.Need{Treatment: f.Treatment, Unit: string(f.Unit), Levels: f.Layout.Levels, Mean: analysis.Known(f.Mean)}
	if f.Unit == model.PerBin && f.PerBin > 0 {
		n.PlantsPerBin = analysis.Known(f.PerBin)
	}
	f.onRack(a, &n)
	var err error
	switch f.Kind {
	case analysis.Count:
		err = f.needOfCounts(&n, a.power(), seed)
	case analysis.YesNo:
		err = f.needOfShares(&n, a.power())
	default:
		err = f.needOfMeans(&n, a.power())
	}
	if errors.Is(err, power.ErrOutOfReach) {
		err = fmt.Errorf("%s is %w: ask for more", f.sizeOf(&n), err)
	}
	if err != nil {
		return analysis.Need{}, err
	}
	if n.RackHolds != nil {
		fits := n.Replicates() <= *n.RackHolds
		n.Fits = &fits
	}
	n.Says = f.says(&n, a.power())
	return n, nil
}

// take puts what was asked in place of what the trial tells.
func (f *sizing) take(a Ask) error {
	if a.Difference != nil {
		f.Matters = a.Difference
	}
	if a.Levels != 0 && a.Levels != f.Layout.Levels {
		f.Layout.Levels, f.Levels = a.Levels, nil
	}
	if f.DF == 0 && f.Kind == analysis.Measure { // given, not estimated
		return nil
	}
	if a.SD == nil && a.BinSD == nil && (a.PlantsPerBin == 0 || f.Unit != model.PerBin) {
		return nil
	}
	if f.Kind != analysis.Measure || f.Unit == model.PerReservoir {
		return fmt.Errorf("%s takes its spread from the trial as it was: spreads and plants per bin can be given for a measure of plants and bins only", f.Treatment)
	}
	if a.SD != nil {
		sd, err := f.spread(*a.SD)
		if err != nil {
			return err
		}
		f.PlantSD, f.Bare = sd, 0
	}
	if f.Unit == model.PerPlant {
		if a.SD != nil {
			f.SD, f.DF = f.PlantSD, 0
		}
		return nil
	}
	if a.BinSD != nil {
		sd, err := f.spread(*a.BinSD)
		if err != nil {
			return err
		}
		f.BinSD, f.DF = sd, 0
	}
	if a.PlantsPerBin > 0 {
		f.PerBin = float64(a.PlantsPerBin)
	}
	f.Compose()
	return nil
}

// spread is a standard deviation on the analysed scale. On the log scale it is that
// of a log-normal outcome, given as a share v of the mean, or as v in the outcome's
// unit about the geometric mean m:
//
//	σ² = ln(1 + v²);  σ² = ln((1 + √(1 + 4v²/m²))/2)
//
// Aitchison, Brown (1957), The Lognormal Distribution, section 2.3.
//
// Errors: those of amount.
func (f *sizing) spread(d analysis.Difference) (float64, error) {
	switch v := d.Value; {
	case f.Scale == analysis.Log && d.Share:
		return math.Sqrt(math.Log1p(v * v)), nil
	case f.Scale == analysis.Log && f.Level > 0:
		return math.Sqrt(math.Log((1 + math.Sqrt(1+4*(v/f.Level)*(v/f.Level))) / 2)), nil
	}
	return f.amount(d)
}

// amount is a difference on the analysed scale.
//
// Errors: a share of a mean that is zero or unknown; an amount per mean likewise.
func (f *sizing) amount(d analysis.Difference) (float64, error) {
	log := f.Scale == analysis.Log || f.Kind == analysis.Count
	switch {
	case log && d.Share:
		return math.Log1p(d.Value), nil
	case log:
		if f.Level > 0 {
			return math.Log1p(d.Value / f.Level), nil
		}
	case !d.Share:
		return d.Value, nil
	case f.Level != 0 && !math.IsNaN(f.Level):
		return d.Value * math.Abs(f.Level), nil
	}
	return 0, errors.New("the mean is zero or not known, so that a share of it says nothing")
}

// onRack tells how many replicates per level there is room for.
func (f *sizing) onRack(a Ask, n *analysis.Need) {
	bins := f.Bins
	if a.Bins > 0 {
		bins = a.Bins
	}
	perLevel := func(x float64) *int {
		if x <= 0 {
			return nil
		}
		count := int(x/float64(f.Layout.Levels) + 1e-9)
		return &count
	}
	switch f.Unit {
	case model.PerBin:
		n.RackHolds = perLevel(float64(bins))
		return
	case model.PerReservoir:
		n.RackHolds = perLevel(float64(f.Reservoirs))
		return
	}
	own, all := f.Own, f.Positions
	switch {
	case a.Bins > 0 && a.PlantsPerBin > 0:
		own = float64(a.Bins * a.PlantsPerBin)
		all = own
	case f.Bins > 0:
		own *= float64(bins) / float64(f.Bins)
		all *= float64(bins) / float64(f.Bins)
		if a.PlantsPerBin > 0 {
			own = float64(bins * a.PlantsPerBin)
		}
	}
	n.RackHolds = perLevel(own)
	if alone := perLevel(all); alone != nil && *alone > *n.RackHolds {
		n.RackHoldsAlone = alone
	}
}

var errNoSpread = errors.New("how much replicates vary, or the difference, is no number that a size could rest on")

// needOfMeans sizes a measure by the non-central F.
func (f *sizing) needOfMeans(n *analysis.Need, asked float64) error {
	apart, err := f.amount(*f.Matters)
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

// sdLimit is the factor from an estimated standard deviation on df to the limit
// that χ² exceeds with probability 1 − p.
//
//	√(df/χ²ₚ(df))
func sdLimit(df, p float64) float64 {
	return math.Sqrt(df / distuv.ChiSquared{K: df}.Quantile(p))
}

// needOfCounts sizes a count by simulation.
func (f *sizing) needOfCounts(n *analysis.Need, asked float64, seed uint64) error {
	apart, err := f.amount(*f.Matters)
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

// needOfShares sizes yes/no answers by the exact test of a pair.
func (f *sizing) needOfShares(n *analysis.Need, asked float64) error {
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
