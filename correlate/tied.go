package correlate

import (
	"fmt"
	"slices"

	"parstead/correlate/deal"
	"parstead/correlate/model"
)

// exchangeable are the blocks within which a treatment's levels may be exchanged
// among whole bins: those of the trial, parted by which levels only_bins let a bin
// have when it was dealt.
func (in question) exchangeable(treatment string, bins model.Factor, block *model.Factor) *model.Factor {
	if in.Dealt == nil {
		return block
	}
	i := slices.IndexFunc(in.Dealt.Treatments, func(t deal.Treatment) bool { return t.Name == treatment })
	if i < 0 || len(in.Dealt.Treatments[i].OnlyBins) == 0 {
		return block
	}
	alike := in.Dealt.Treatments[i].Alike(bins.Levels)
	parts := model.Factor{Of: make([]int, len(bins.Of))}
	at := map[[2]int]int{}
	for row, bin := range bins.Of {
		key := [2]int{0, alike[bin]}
		if block != nil {
			key[0] = block.Of[row]
		}
		if _, known := at[key]; !known {
			at[key] = len(at)
			parts.Levels = append(parts.Levels, fmt.Sprint(key))
		}
		parts.Of[row] = at[key]
	}
	return &parts
}
