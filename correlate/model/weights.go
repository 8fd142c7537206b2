package model

import (
	"fmt"
	"slices"
)

// Weights gives the linear function of the coefficients that is the adjusted
// mean at the levels given: covariates and light at their mean over the rows;
// levels of all other factors, blocks and bins weighted equally. Bins count
// equally within each level of the treatments that they hold, and these levels
// equally, where an interaction makes that matter. Fixing a bin fixes what it
// holds.
func (d *Design) Weights(at ...At) []float64 {
	levels := d.levelWeights(at)
	w := make([]float64, len(d.Columns))
	for _, e := range d.Effects {
		switch len(e.Factors) {
		case 0:
			w[e.First] = d.means[e.First]
		case 1:
			copy(w[e.First:e.End], levels[e.Factors[0]][1:])
		case 2:
			j := e.First
			for _, wa := range levels[e.Factors[0]][1:] {
				for _, wb := range levels[e.Factors[1]][1:] {
					w[j] = wa * wb
					j++
				}
			}
		}
	}
	return w
}

// levelWeights gives each factor's levels their weight.
func (d *Design) levelWeights(at []At) [][]float64 {
	weights := make([][]float64, len(d.Factors))
	fixed := make([]int, len(d.Factors))
	for f := range d.Factors {
		fixed[f] = -1
	}
	for _, a := range at {
		fixed[a.Factor] = a.Level
	}
	for f, factor := range d.Factors {
		weights[f] = make([]float64, len(factor.Levels))
		for l := range weights[f] {
			if fixed[f] < 0 {
				weights[f][l] = 1 / float64(len(factor.Levels))
			} else if fixed[f] == l {
				weights[f][l] = 1
			}
		}
	}
	if len(d.nested) > 0 {
		d.nest(weights, fixed)
	}
	return weights
}

// nest makes the weights of bins and of the treatments they hold agree.
func (d *Design) nest(weights [][]float64, fixed []int) {
	bins := d.Factors[d.bin]
	held := make([][]int, len(bins.Levels)) // by bin: the levels of the nested treatments
	for i, b := range bins.Of {
		if held[b] == nil {
			for _, f := range d.nested {
				held[b] = append(held[b], d.Factors[f].Of[i])
			}
		}
	}
	fits := func(b int) bool {
		if fixed[d.bin] >= 0 && fixed[d.bin] != b {
			return false
		}
		for k, f := range d.nested {
			if fixed[f] >= 0 && fixed[f] != held[b][k] {
				return false
			}
		}
		return true
	}
	share := map[string]float64{} // bins that fit, by what they hold
	matters := slices.ContainsFunc(d.Effects, func(e Effect) bool {
		return slices.ContainsFunc(e.Factors, func(f int) bool { return slices.Contains(d.nested, f) })
	})
	cell := func(b int) string {
		if !matters {
			return ""
		}
		return fmt.Sprint(held[b])
	}
	for b := range bins.Levels {
		if fits(b) {
			share[cell(b)]++
		}
	}
	for _, f := range d.nested {
		clear(weights[f])
	}
	for b := range bins.Levels {
		weights[d.bin][b] = 0
		if !fits(b) {
			continue
		}
		weights[d.bin][b] = 1 / (share[cell(b)] * float64(len(share)))
		for k, f := range d.nested {
			weights[f][held[b][k]] += weights[d.bin][b]
		}
	}
}
