package correlate

import (
	"fmt"
	"math"
	"slices"

	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// fewestDeals is the number of deals, counted by what they come to, under which no p can
// fall below 0.05.
const fewestDeals = 20

// ways counts how labels might have been dealt. Those that only give levels of as many
// units one another's names come to the same, so that p is never under alike/deals.
type ways struct {
	deals float64 // different ones; +Inf where they are many
	alike float64 // of these, those that come to the same as the actual one
}

func (w ways) tooFew() bool {
	return w.deals < fewestDeals || w.alike > 1 && w.deals <= fewestDeals*w.alike
}

// says why no p is given.
func (w ways) says() string {
	if w.alike > 1 {
		return fmt.Sprintf("of only %s ways to do so %s come to the same, so that p could not fall under 0.05 whatever happened", phrase.Freedom(w.deals), phrase.Freedom(w.alike))
	}
	return fmt.Sprintf("there are only %s ways to do so, too few for a p value", phrase.Freedom(w.deals))
}

// listed counts the deals of a list.
func listed(all [][]int, actual []int) ways {
	seen, own := map[string]bool{}, renamed(actual)
	var w ways
	for _, d := range all {
		key := fmt.Sprint(d)
		if seen[key] {
			continue
		}
		seen[key] = true
		w.deals++
		if slices.Equal(renamed(d), own) {
			w.alike++
		}
	}
	w.alike = max(1, w.alike) // the actual one may not be among drawn ones
	return w
}

// renamed numbers labels in the order in which they come.
func renamed(labels []int) []int {
	number, list := map[int]int{}, make([]int, len(labels))
	for i, l := range labels {
		n, ok := number[l]
		if !ok {
			n = len(number)
			number[l] = n
		}
		list[i] = n
	}
	return list
}

// tableDeals counts how a table's labels can be dealt within bins or blocks: a product
// of multinomial coefficients. Levels of one treatment with as many plants in each place
// can change names.
func (s *sample) tableDeals(d *model.Design, dealt []int) ways {
	w := ways{math.Inf(1), 1}
	if !s.in.Table {
		return w
	}
	places := make([]int, len(s.rows))
	switch {
	case s.terms.Bin != nil:
		places = s.terms.Bin.Of
	case s.terms.Block != nil:
		places = s.terms.Block.Of
	}
	w.deals = 1
	plants, counts := map[int]float64{}, map[int]map[int]float64{} // by label, by place
	for k, label := range d.Combinations(dealt) {
		at := places[k]
		if counts[label] == nil {
			counts[label] = map[int]float64{}
		}
		plants[at]++
		counts[label][at]++
		w.deals *= plants[at] / counts[label][at]
	}
	w.deals = math.Round(w.deals)
	if len(dealt) > 1 {
		return w
	}
	same := map[string]float64{}
	for _, own := range counts {
		key := fmt.Sprint(own) // in the order of its keys
		same[key]++
		w.alike *= same[key]
	}
	return w
}
