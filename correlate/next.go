package correlate

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"parstead/correlate/model"
	"parstead/correlate/power"
)

// usualPower is asked of a next trial unless another is: four cases of five.
const usualPower = 0.8

// NextTrial is how many replicates a next trial needs. PerLevel and BinsPerLevel
// are enough for all needs of plants or of bins; absent where there is none.
type NextTrial struct {
	Power        float64 `json:"power"` // that was asked for
	PerLevel     *int    `json:"per_level,omitempty"`
	BinsPerLevel *int    `json:"bins_per_level,omitempty"`
	Needs        []Need  `json:"needs"`
}

// Need is what one treatment's next comparison needs, with what that rests on.
// The replicates per level are those with which the test of all levels together
// has the power asked for, where two levels lie the difference apart and the others
// half way between; yes/no answers by the exact test of such a pair.
type Need struct {
	Outcome   string            `json:"outcome,omitempty"`
	Of        map[string]string `json:"of,omitempty"`
	Treatment string            `json:"treatment,omitempty"`
	Unit      string            `json:"unit"` // the replicate: plant, bin or reservoir
	Levels    int               `json:"levels"`

	Difference *float64    `json:"difference,omitempty"` // asked about: in the outcome's unit
	Ratio      *float64    `json:"ratio,omitempty"`      // in its place on a log scale and of counts; the odds ratio of yes/no answers
	Shares     *[2]float64 `json:"shares,omitempty"`     // the two shares of yes that are told apart

	Mean         *float64    `json:"mean,omitempty"`       // of one replicate
	SD           *float64    `json:"sd,omitempty"`         // of one replicate, on the analysed scale
	DF           *float64    `json:"sd_df,omitempty"`      // that it was estimated on
	SDCI95       *[2]float64 `json:"sd_ci95,omitempty"`    // by χ²
	Dispersion   *float64    `json:"dispersion,omitempty"` // of counts, in place of SD
	PlantsPerBin *float64    `json:"plants_per_bin,omitempty"`
	PlantSD      *float64    `json:"plant_sd,omitempty"` // of plants within bins
	BinSD        *float64    `json:"bin_sd,omitempty"`   // between bins beyond that; 0 where none shows

	PerLevel           *int     `json:"per_level,omitempty"`
	BinsPerLevel       *int     `json:"bins_per_level,omitempty"`
	ReservoirsPerLevel *int     `json:"reservoirs_per_level,omitempty"`
	Power              *float64 `json:"power,omitempty"` // that these reach
	MonteCarloError    *float64 `json:"monte_carlo_error,omitempty"`
	EachPair           *int     `json:"each_pair,omitempty"`          // replicates with which the interval of one such pair tells it apart
	CI95               *[2]int  `json:"ci95,omitempty"`               // of the replicates, from that of the spread
	WithoutCovariates  *int     `json:"without_covariates,omitempty"` // replicates if start, light and other covariates were not in the model

	RackHolds          *int     `json:"rack_holds,omitempty"`       // per level, beside the plants that shared it
	RackHoldsAlone     *int     `json:"rack_holds_alone,omitempty"` // per level, without them
	Fits               *bool    `json:"fits,omitempty"`
	SmallestDifference *float64 `json:"smallest_difference,omitempty"` // that RackHolds shows with the power asked for
	SmallestRatio      *float64 `json:"smallest_ratio,omitempty"`

	Says string `json:"says"`
}

// Replicates is the number per level, whatever the replicate is.
func (n *Need) Replicates() int { return **n.replicates() }

// replicates is where that number stands.
func (n *Need) replicates() **int {
	switch model.Unit(n.Unit) {
	case model.PerBin:
		return &n.BinsPerLevel
	case model.PerReservoir:
		return &n.ReservoirsPerLevel
	}
	return &n.PerLevel
}

// Ask is what a next trial should settle. What is zero or nil is taken from the
// trial itself.
type Ask struct {
	Outcome      string      // its name; "": the primary ones
	Treatment    string      // its name; "": all
	Power        float64     // 0: 0.8
	Difference   *Difference // nil: the outcome's smallest that matters
	SD           *Difference // of plants
	BinSD        *Difference // of bins beyond that of their plants
	Levels       int
	PlantsPerBin int
	Bins         int // of the rack
}

// Validate tells what nobody can mean.
func (a Ask) Validate() error {
	for _, x := range []struct {
		name  string
		value *Difference
		least bool // zero will do
	}{{"the difference", a.Difference, false}, {"the spread of plants", a.SD, false}, {"the spread of bins", a.BinSD, true}} {
		if v := x.value; v != nil && (!(v.Value > 0 || x.least && v.Value == 0) || math.IsInf(v.Value, 0)) {
			return fmt.Errorf("%s is %s: it must be above zero", x.name, Number(v.Value))
		}
	}
	switch {
	case a.Power != 0 && !(a.Power > power.Level && a.Power < 1):
		return fmt.Errorf("a power of %g can't be had: it must lie above %g, which chance alone gives, and below 1, since no trial is certain; 0.8 is usual", a.Power, power.Level)
	case a.Levels != 0 && a.Levels < 2 || a.Levels > 1000:
		return fmt.Errorf("%d levels: a comparison needs from 2 to 1000", a.Levels)
	case a.PlantsPerBin < 0 || a.Bins < 0:
		return errors.New("bins and plants per bin must be above zero")
	}
	return nil
}

func (a Ask) power() float64 {
	if a.Power == 0 {
		return usualPower
	}
	return a.Power
}

// Size answers a question that rests on no trial: SD and Difference are given,
// Levels are two unless given. With BinSD and PlantsPerBin the bins are sized too.
//
// Errors: those of Ask.Validate; a spread that is missing; a share beside a number
// in units; a difference out of reach.
func Size(a Ask) (*NextTrial, error) {
	if err := a.Validate(); err != nil {
		return nil, err
	}
	if a.SD == nil || a.Difference == nil {
		return nil, errors.New("a size needs the spread of plants and the difference to settle")
	}
	if a.SD.Share != a.Difference.Share || a.BinSD != nil && a.BinSD.Share != a.SD.Share {
		return nil, errors.New("spreads and difference don't meet: give all of them in per cent of the mean, or all in the outcome's unit")
	}
	if a.Levels == 0 {
		a.Levels = 2
	}
	share := a.SD.Share
	bare := footing{kind: Measure, scale: Natural, layout: power.Layout{Levels: a.Levels}, level: math.NaN(), mean: math.NaN(), share: share, plantSD: a.SD.Value}
	if share {
		bare.level, bare.mean = 1, 1
	}
	plant := bare
	plant.unit, plant.sd = model.PerPlant, a.SD.Value
	list := []footing{plant}
	if a.BinSD != nil {
		if a.PlantsPerBin == 0 {
			return nil, errors.New("the spread of bins says nothing without the number of plants per bin")
		}
		bin := bare
		bin.unit, bin.binSD, bin.perBin = model.PerBin, a.BinSD.Value, float64(a.PlantsPerBin)
		bin.compose()
		list = append(list, bin)
	}
	next := &NextTrial{Power: a.power(), Needs: []Need{}}
	for _, f := range list {
		n, err := f.need(a, 1)
		if err != nil {
			return nil, err
		}
		next.Needs = append(next.Needs, n)
	}
	next.sum()
	return next, nil
}

// sum takes the largest of plants and of bins.
func (n *NextTrial) sum() {
	most := func(of func(*Need) *int) *int {
		var most *int
		for i := range n.Needs {
			if count := of(&n.Needs[i]); count != nil && (most == nil || *count > *most) {
				most = count
			}
		}
		return most
	}
	n.PerLevel = most(func(n *Need) *int { return n.PerLevel })
	n.BinsPerLevel = most(func(n *Need) *int { return n.BinsPerLevel })
}

// Next sizes a next trial by the spreads of this one. Why a treatment has no need
// is said by the checks called next_trial that it returns, one for each outcome's
// index; next is nil where there is no need at all.
//
// Errors: those of Ask.Validate.
func (r *Result) Next(a Ask) (next *NextTrial, reasons map[int][]Check, err error) {
	if err := a.Validate(); err != nil {
		return nil, nil, err
	}
	next = &NextTrial{Power: a.power()}
	reasons = map[int][]Check{}
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		if o.Model == "" || a.Outcome == "" && !o.Primary || a.Outcome != "" && a.Outcome != o.Name {
			continue
		}
		if a.Difference == nil && len(o.footings) > 0 && o.footings[0].matters == nil {
			reasons[i] = []Check{{Check: "next_trial", Says: "trial.toml does not say which difference in " + o.Name + " matters: give the outcome `matters`, or ask parstead size with --difference"}}
			continue
		}
		for _, f := range o.footings {
			if a.Treatment != "" && a.Treatment != f.treatment {
				continue
			}
			n, err := f.need(a, r.seed)
			if err != nil {
				reasons[i] = append(reasons[i], Check{Check: "next_trial", Of: f.treatment, Says: err.Error()})
				continue
			}
			n.Outcome, n.Of = o.Name, maps.Clone(o.Of)
			next.Needs = append(next.Needs, n)
		}
	}
	if len(next.Needs) == 0 {
		return nil, reasons, nil
	}
	next.sum()
	return next, reasons, nil
}

// next sizes a next trial for the primary outcomes of a trial's folder.
func (in *Input) next(r *Result, opts Options) {
	if in.Table {
		return
	}
	r.seed = opts.seedFor("next trial")
	next, reasons, _ := r.Next(Ask{}) // nothing that could be invalid
	r.NextTrial = next
	for i, checks := range reasons {
		r.Outcomes[i].Checks = append(r.Outcomes[i].Checks, checks...)
	}
}

// of lists the needs of one result.
func (n *NextTrial) of(o *OutcomeResult) []Need {
	if n == nil {
		return nil
	}
	return slices.DeleteFunc(slices.Clone(n.Needs), func(n Need) bool {
		return n.Outcome != o.Name || !maps.Equal(n.Of, o.Of)
	})
}
