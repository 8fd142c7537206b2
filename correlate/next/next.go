// Package next sizes a next trial by what this one tells of how its replicates vary.
package next

import (
	"errors"
	"fmt"
	"maps"
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
	"parstead/correlate/power"
)

// usualPower is asked of a next trial unless another is: four cases of five.
const usualPower = 0.8

// Ask is what a next trial should settle. What is zero or nil is taken from the
// trial itself.
type Ask struct {
	Outcome      string               // its name; "": the primary ones
	Treatment    string               // its name; "": all
	Power        float64              // 0: 0.8
	Difference   *analysis.Difference // nil: the outcome's smallest that matters
	SD           *analysis.Difference // of plants
	BinSD        *analysis.Difference // of bins beyond that of their plants
	Levels       int
	PlantsPerBin int
	Bins         int // of the rack
}

// Validate refuses values that no trial could have, such as a difference of zero.
func (a Ask) Validate() error {
	for _, x := range []struct {
		name  string
		value *analysis.Difference
		least bool // zero will do
	}{{"the difference", a.Difference, false}, {"the spread of plants", a.SD, false}, {"the spread of bins", a.BinSD, true}} {
		if v := x.value; v != nil && (!(v.Value > 0 || x.least && v.Value == 0) || math.IsInf(v.Value, 0)) {
			return fmt.Errorf("%s is %s: it must be above zero", x.name, phrase.Number(v.Value))
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
func Size(a Ask) (*analysis.NextTrial, error) {
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
	bare := sizing{analysis.Planning{Kind: analysis.Measure, Scale: analysis.Natural, Layout: power.Layout{Levels: a.Levels}, Level: math.NaN(), Mean: math.NaN(), Share: share, PlantSD: a.SD.Value}}
	if share {
		bare.Level, bare.Mean = 1, 1
	}
	plant := bare
	plant.Unit, plant.SD = model.PerPlant, a.SD.Value
	list := []sizing{plant}
	if a.BinSD != nil {
		if a.PlantsPerBin == 0 {
			return nil, errors.New("the spread of bins says nothing without the number of plants per bin")
		}
		bin := bare
		bin.Unit, bin.BinSD, bin.PerBin = model.PerBin, a.BinSD.Value, float64(a.PlantsPerBin)
		bin.Compose()
		list = append(list, bin)
	}
	next := &analysis.NextTrial{Power: a.power(), Needs: []analysis.Need{}}
	for _, f := range list {
		n, err := f.need(a, 1)
		if err != nil {
			return nil, err
		}
		next.Needs = append(next.Needs, n)
	}
	sum(next)
	return next, nil
}

// sum takes the largest of plants and of bins.
func sum(n *analysis.NextTrial) {
	most := func(of func(*analysis.Need) *int) *int {
		var most *int
		for i := range n.Needs {
			if count := of(&n.Needs[i]); count != nil && (most == nil || *count > *most) {
				most = count
			}
		}
		return most
	}
	n.PerLevel = most(func(n *analysis.Need) *int { return n.PerLevel })
	n.BinsPerLevel = most(func(n *analysis.Need) *int { return n.BinsPerLevel })
}

// Trial sizes a next trial by the spreads of this one. Why a treatment has no need
// is said by the checks called next_trial that it returns, one for each outcome's
// index; next is nil where there is no need at all.
//
// Errors: those of Ask.Validate.
func Trial(r *analysis.Result, a Ask) (next *analysis.NextTrial, reasons map[int][]analysis.Check, err error) {
	if err := a.Validate(); err != nil {
		return nil, nil, err
	}
	next = &analysis.NextTrial{Power: a.power()}
	reasons = map[int][]analysis.Check{}
	for i := range r.Outcomes {
		o := &r.Outcomes[i]
		if o.Model == "" || a.Outcome == "" && !o.Primary || a.Outcome != "" && a.Outcome != o.Name {
			continue
		}
		if a.Difference == nil && len(o.Planning) > 0 && o.Planning[0].Matters == nil {
			reasons[i] = []analysis.Check{{Check: "next_trial", Says: "trial.toml does not say which difference in " + o.Name + " matters: give the outcome `matters`, or ask parstead size with --difference"}}
			continue
		}
		for _, f := range o.Planning {
			if a.Treatment != "" && a.Treatment != f.Treatment {
				continue
			}
			n, err := sizing{f}.need(a, r.Seed)
			if err != nil {
				reasons[i] = append(reasons[i], analysis.Check{Check: "next_trial", Of: f.Treatment, Says: err.Error()})
				continue
			}
			n.Outcome, n.Of = o.Name, maps.Clone(o.Of)
			next.Needs = append(next.Needs, n)
		}
	}
	if len(next.Needs) == 0 {
		return nil, reasons, nil
	}
	sum(next)
	return next, reasons, nil
}
