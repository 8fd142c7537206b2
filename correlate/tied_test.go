package correlate

import (
	"slices"
	"testing"

	"parstead/correlate/deal"
	"parstead/correlate/model"
)

// Bins that can't have the same levels are never exchanged: they lie in blocks of
// their own, within those of the trial.
func TestTiedBinsAreNotExchanged(t *testing.T) {
	t.Parallel()
	bins := model.Factor{Levels: []string{"a", "b", "c", "d"}, Of: []int{0, 0, 1, 2, 3}}
	block := &model.Factor{Levels: []string{"x", "y"}, Of: []int{0, 0, 0, 1, 1}}
	tied := deal.Treatment{Name: "light_level", Levels: []string{"low", "high"}, OnlyBins: map[string][]string{"low": {"b", "d"}}}
	for _, c := range []struct {
		dealt *deal.Record
		block *model.Factor
		want  []int // block of each row
	}{
		{nil, block, block.Of},
		{&deal.Record{Treatments: []deal.Treatment{{Name: "light_level"}}}, block, block.Of},
		{&deal.Record{Treatments: []deal.Treatment{tied}}, nil, []int{0, 0, 1, 0, 1}},
		{&deal.Record{Treatments: []deal.Treatment{tied}}, block, []int{0, 0, 1, 2, 3}},
	} {
		in := question{&Input{Dealt: c.dealt}}
		if got := in.exchangeable("light_level", bins, c.block); !slices.Equal(got.Of, c.want) {
			t.Errorf("%v, want %v", got.Of, c.want)
		}
	}
}
