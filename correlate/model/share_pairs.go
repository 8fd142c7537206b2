package model

import (
	"errors"
	"math"
)

// UnitPair compares the mean shares of two levels of a treatment that whole bins or
// reservoirs got: A, the later, against B, the earlier.
type UnitPair struct {
	A, B int // into the treatment's levels

	// OK tells that both mean shares lie between 0 and 1; else the log odds ratio and its
	// interval are absent.
	OK       bool
	TooFew   bool       // one degree of freedom: so wide an interval of odds would be none
	Estimate            // of the natural log of the odds ratio, units being the replicates
	CI95     [2]float64 // simultaneous
	AtLeast  bool       // units differed less, by chance, than their plants make them
}

// UnitShares compares the shares of yes among units, each counting once: least
// squares of the units' shares on block and treatment, read as odds ratios of the
// adjusted mean shares.
//
//	se² = gᵀ Var g,  g = w_a/(m_a (1 − m_a)) − w_b/(m_b (1 − m_b))
//
// m are the adjusted means, w the linear functions that they are. Var is what the units
// spread by, and at least what their plants make them. Intervals take the studentized
// range on the residual degrees of freedom. All factors sort the rows; treatment and
// block do not differ within a unit.
func UnitShares(units, treatment Factor, block *Factor, y []float64) (means []Estimate, pairs []UnitPair, err error) {
	units = withRows(units)
	above, err := Answers{Y: y}.over(nil, units)
	if err != nil {
		return nil, nil, err
	}
	w := wholeUnits(units, Terms{Bin: &units, Block: block})
	d, err := NewDesign(len(w.first), Terms{Block: w.block(), Treatments: []Treatment{{w.pick(treatment), PerPlant}}})
	if err != nil {
		return nil, nil, err
	}
	fitted, err := above.fit(d)
	switch {
	case errors.Is(err, ErrTooFew), errors.Is(err, ErrNoSpread), errors.Is(err, ErrTooAlike):
		return nil, nil, nil
	case err != nil:
		return nil, nil, err
	}
	m := fitted.(*Fit)
	factor := d.Treatments()[0]
	levels := len(d.Factors[factor].Levels)
	weights := make([][]float64, levels)
	for l := range levels {
		weights[l] = d.Weights(At{factor, l})
		means = append(means, m.Linear(weights[l]))
	}
	var q studentized
	for a := range levels {
		for b := range a {
			p := UnitPair{A: a, B: b}
			if va, vb := oddsVariance(means[a].Value), oddsVariance(means[b].Value); va > 0 && vb > 0 {
				g := make([]float64, len(d.Columns))
				for j := range g {
					g[j] = weights[a][j]/va - weights[b][j]/vb
				}
				e := m.Linear(g)
				e.Value = logit(means[a].Value) - logit(means[b].Value)
				p.AtLeast = m.AtLeast(g)
				if p.OK = e.OK(); p.OK {
					p.Estimate, p.CI95, p.TooFew = e, q.pair(a, b, e, levels).CI95, e.DF < 2
				}
			}
			pairs = append(pairs, p)
		}
	}
	return means, pairs, nil
}

func logit(share float64) float64 { return math.Log(share / (1 - share)) }

// oddsVariance is what a small change of a share is divided by to be one of its
// log odds; rounding of a share that is 0 or 1 counts as none.
func oddsVariance(share float64) float64 {
	if v := share * (1 - share); v > 1e-12 {
		return v
	}
	return 0
}
