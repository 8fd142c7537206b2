package harvest

import (
	"testing"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
)

// A trial of one species, which splits by nothing, finds the same species of one
// that splits; one of several does not.
func TestSplitAlike(t *testing.T) {
	t.Parallel()
	of := func(species ...string) *Harvest {
		h := &Harvest{Trial: &trial.Trial{}, Input: &correlate.Input{}}
		for _, s := range species {
			h.Trial.Plants = append(h.Trial.Plants, trial.Plant{Columns: map[string]string{"species": s}})
		}
		return h
	}
	split, one, two, gap := of("A", "B"), of("B", "B"), of("A", "B"), of("B", "")
	split.Input.By = columnFactor(split.Trial, "species")
	SplitAlike([]*Harvest{one, split, two, gap})
	if one.Input.By == nil || one.Input.By.Name != "species" || one.Input.By.Levels[0] != "B" {
		t.Errorf("%+v", one.Input.By)
	}
	if two.Input.By != nil || gap.Input.By != nil {
		t.Errorf("split without need: %+v, %+v", two.Input.By, gap.Input.By)
	}
	if alone := of("A"); alone.Input.By == nil {
		if SplitAlike([]*Harvest{alone, two}); alone.Input.By != nil {
			t.Error("split where no other splits")
		}
	}
}
