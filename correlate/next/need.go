package next

import (
	"errors"
	"fmt"
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
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
	err := kind.Of(f.Kind).Size(&f.Planning, &n, a.power(), seed)
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
	if f.DF == 0 && kind.Of(f.Kind).Measured { // given, not estimated
		return nil
	}
	if a.SD == nil && a.BinSD == nil && (a.PlantsPerBin == 0 || f.Unit != model.PerBin) {
		return nil
	}
	if !kind.Of(f.Kind).Measured || f.Unit == model.PerReservoir {
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
// Errors: those of kind.Amount.
func (f *sizing) spread(d analysis.Difference) (float64, error) {
	switch v := d.Value; {
	case f.Scale == analysis.Log && d.Share:
		return math.Sqrt(math.Log1p(v * v)), nil
	case f.Scale == analysis.Log && f.Level > 0:
		return math.Sqrt(math.Log((1 + math.Sqrt(1+4*(v/f.Level)*(v/f.Level))) / 2)), nil
	}
	return kind.Amount(&f.Planning, d, kind.Compared(f.Kind, f.Scale))
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
