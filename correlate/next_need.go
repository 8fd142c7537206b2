package correlate

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/correlate/model"
	"parstead/correlate/power"
)

// need sizes the next comparison of one treatment.
//
// Errors say why it has no size.
func (f footing) need(a Ask, seed uint64) (Need, error) {
	switch {
	case f.why != "":
		return Need{}, errors.New(f.why)
	case f.layout.Levels < 2:
		return Need{}, errors.New("one level alone is compared with nothing")
	}
	if err := f.take(a); err != nil {
		return Need{}, err
	}
	n := Need{Treatment: f.treatment, Unit: string(f.unit), Levels: f.layout.Levels, Mean: known(f.mean)}
	if f.unit == model.PerBin && f.perBin > 0 {
		n.PlantsPerBin = known(f.perBin)
	}
	f.onRack(a, &n)
	var err error
	switch f.kind {
	case Count:
		err = f.needOfCounts(&n, a.power(), seed)
	case YesNo:
		err = f.needOfShares(&n, a.power())
	default:
		err = f.needOfMeans(&n, a.power())
	}
	if errors.Is(err, power.ErrOutOfReach) {
		err = fmt.Errorf("%s is %w: ask for more", f.sizeOf(&n), err)
	}
	if err != nil {
		return Need{}, err
	}
	if n.RackHolds != nil {
		fits := n.Replicates() <= *n.RackHolds
		n.Fits = &fits
	}
	n.Says = f.says(&n, a.power())
	return n, nil
}

// take puts what was asked in place of what the trial tells.
func (f *footing) take(a Ask) error {
	if a.Difference != nil {
		f.matters = a.Difference
	}
	if a.Levels != 0 && a.Levels != f.layout.Levels {
		f.layout.Levels, f.levels = a.Levels, nil
	}
	if f.df == 0 && f.kind == Measure { // given, not estimated
		return nil
	}
	if a.SD == nil && a.BinSD == nil && (a.PlantsPerBin == 0 || f.unit != model.PerBin) {
		return nil
	}
	if f.kind != Measure || f.unit == model.PerReservoir {
		return fmt.Errorf("%s takes its spread from the trial as it was: spreads and plants per bin can be given for a measure of plants and bins only", f.treatment)
	}
	if a.SD != nil {
		sd, err := f.spread(*a.SD)
		if err != nil {
			return err
		}
		f.plantSD, f.bare = sd, 0
	}
	if f.unit == model.PerPlant {
		if a.SD != nil {
			f.sd, f.df = f.plantSD, 0
		}
		return nil
	}
	if a.BinSD != nil {
		sd, err := f.spread(*a.BinSD)
		if err != nil {
			return err
		}
		f.binSD, f.df = sd, 0
	}
	if a.PlantsPerBin > 0 {
		f.perBin = float64(a.PlantsPerBin)
	}
	f.compose()
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
func (f *footing) spread(d Difference) (float64, error) {
	switch v := d.Value; {
	case f.scale == Log && d.Share:
		return math.Sqrt(math.Log1p(v * v)), nil
	case f.scale == Log && f.level > 0:
		return math.Sqrt(math.Log((1 + math.Sqrt(1+4*(v/f.level)*(v/f.level))) / 2)), nil
	}
	return f.amount(d)
}

// amount is a difference on the analysed scale.
//
// Errors: a share of a mean that is zero or unknown; an amount per mean likewise.
func (f *footing) amount(d Difference) (float64, error) {
	log := f.scale == Log || f.kind == Count
	switch {
	case log && d.Share:
		return math.Log1p(d.Value), nil
	case log:
		if f.level > 0 {
			return math.Log1p(d.Value / f.level), nil
		}
	case !d.Share:
		return d.Value, nil
	case f.level != 0 && !math.IsNaN(f.level):
		return d.Value * math.Abs(f.level), nil
	}
	return 0, errors.New("the mean is zero or not known, so that a share of it says nothing")
}

// onRack tells how many replicates per level there is room for.
func (f *footing) onRack(a Ask, n *Need) {
	bins := f.bins
	if a.Bins > 0 {
		bins = a.Bins
	}
	perLevel := func(x float64) *int {
		if x <= 0 {
			return nil
		}
		count := int(x/float64(f.layout.Levels) + 1e-9)
		return &count
	}
	switch f.unit {
	case model.PerBin:
		n.RackHolds = perLevel(float64(bins))
		return
	case model.PerReservoir:
		n.RackHolds = perLevel(float64(f.reservoirs))
		return
	}
	own, all := f.own, f.positions
	switch {
	case a.Bins > 0 && a.PlantsPerBin > 0:
		own = float64(a.Bins * a.PlantsPerBin)
		all = own
	case f.bins > 0:
		own *= float64(bins) / float64(f.bins)
		all *= float64(bins) / float64(f.bins)
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
func (f *footing) needOfMeans(n *Need, asked float64) error {
	apart, err := f.amount(*f.matters)
	if err != nil {
		return err
	}
	if !(f.sd > 0 && apart > 0) || math.IsInf(f.sd, 0) || math.IsInf(apart, 0) {
		return errNoSpread
	}
	if f.scale == Log {
		n.Ratio = known(math.Exp(apart))
	} else {
		n.Difference = known(apart)
	}
	m := power.Means{Layout: f.layout, SD: f.sd, Difference: apart}
	n.SD = known(f.sd)
	if f.unit == model.PerBin && f.plantSD > 0 {
		n.PlantSD, n.BinSD = known(f.plantSD), known(f.binSD)
	}
	count, err := m.Replicates(asked)
	if err != nil {
		return err
	}
	*n.replicates() = &count
	n.Power = known(m.Power(count))
	if f.layout.Levels > 2 {
		if pair, err := m.PairReplicates(asked); err == nil {
			n.EachPair = &pair
		}
	}
	if f.df > 0 {
		n.DF = known(f.df)
		n.SDCI95 = &[2]float64{f.sd * sdLimit(f.df, 0.975), f.sd * sdLimit(f.df, 0.025)}
		low, high := m, m
		low.SD, high.SD = n.SDCI95[0], n.SDCI95[1]
		least, err := low.Replicates(asked)
		if most, err2 := high.Replicates(asked); err == nil && err2 == nil {
			n.CI95 = &[2]int{least, most}
		}
	}
	if f.bare > 0 {
		bare := m
		bare.SD = f.bare
		if count, err := bare.Replicates(asked); err == nil {
			n.WithoutCovariates = &count
		}
	}
	if n.RackHolds != nil {
		if f.scale == Log {
			n.SmallestRatio = known(math.Exp(m.Smallest(*n.RackHolds, asked)))
		} else {
			n.SmallestDifference = known(m.Smallest(*n.RackHolds, asked))
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
func (f *footing) needOfCounts(n *Need, asked float64, seed uint64) error {
	apart, err := f.amount(*f.matters)
	if err != nil {
		return err
	}
	if !(f.sd > 0 && f.mean > 0 && apart > 0) || math.IsInf(f.sd, 0) || math.IsInf(f.mean, 0) || math.IsInf(apart, 0) {
		return errNoSpread
	}
	n.Ratio, n.Dispersion, n.DF = known(math.Exp(apart)), known(f.sd), known(f.df)
	c := power.Counts{Layout: f.layout, Mean: f.mean, Dispersion: f.sd, Ratio: math.Exp(apart), Seed: seed}
	found, err := c.Replicates(asked)
	if err != nil {
		return err
	}
	*n.replicates() = &found.Replicates
	low, high := c, c
	low.Dispersion *= math.Pow(sdLimit(f.df, 0.975), 2)
	high.Dispersion *= math.Pow(sdLimit(f.df, 0.025), 2)
	least, err := low.About(asked)
	if most, err2 := high.About(asked); err == nil && err2 == nil {
		n.CI95 = &[2]int{min(least, found.Replicates), max(most, found.Replicates)}
	}
	n.Power, n.MonteCarloError = known(found.Power), known(found.Error)
	if n.RackHolds != nil {
		if ratio, err := c.Smallest(*n.RackHolds, asked); err == nil {
			n.SmallestRatio = known(ratio)
		}
	}
	return nil
}

// needOfShares sizes yes/no answers by the exact test of a pair.
func (f *footing) needOfShares(n *Need, asked float64) error {
	low, high := f.mean-f.matters.Value/2, f.mean+f.matters.Value/2
	if f.matters.Share {
		high, low = power.Apart(f.mean, 1+f.matters.Value)
	}
	if !(0 <= low && low < high && high <= 1) {
		return fmt.Errorf("around a share of %s no two shares lie %s points of a hundred apart", percent(f.mean), Number(100*f.matters.Value))
	}
	n.Shares = &[2]float64{low, high}
	n.Ratio = known(high / (1 - high) / (low / (1 - low)))
	pairs := f.layout.Levels * (f.layout.Levels - 1) / 2
	s := power.Shares{A: high, B: low, Pairs: pairs}
	count, err := s.Replicates(asked)
	if err != nil {
		return err
	}
	*n.replicates() = &count
	n.Power = known(s.Power(count))
	if n.RackHolds != nil {
		n.SmallestRatio = known(power.SmallestOdds(f.mean, pairs, *n.RackHolds, asked))
	}
	return nil
}
