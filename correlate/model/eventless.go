package model

import (
	"math"
	"slices"
)

// A level without any event has no ratio, and what a likelihood makes of it is false
// in up to 20 % of trials where nothing differs. Its pairs are judged by the rows that
// have an event: given how many of these two levels have, were they alike, any rows
// could be the ones.

// eventless tells which of a family's cells have rows and no event.
func (f *CountFit) eventless(family Family) (none []bool, any bool) {
	none = make([]bool, len(family.Cells))
	for i, cell := range family.Cells {
		rows := f.Design.Rows(cell)
		none[i] = len(rows) > 0 && !slices.ContainsFunc(rows, func(r int) bool { return f.Y[r] > 0 })
		any = any || none[i]
	}
	return none, any
}

// places sorts the rows by what two levels are compared within: bins, else blocks.
func (f *CountFit) places() []int {
	d := f.Design
	if d.bin >= 0 {
		return d.Factors[d.bin].Of
	}
	if i := slices.IndexFunc(d.Effects, func(e Effect) bool { return e.Kind == KindBlock }); i >= 0 {
		return d.Factors[d.Effects[i].Factors[0]].Of
	}
	return make([]int, d.N)
}

// against compares the cell none, without events, with the cell some by the K rows of
// some that have one. pairs is the number of pairs that are compared.
//
//	p = pairs · 2 Π C(n_some, K) / C(n_none + n_some, K), a factor a bin or block
//	ratio of none to some ≤ E_some/E_none · (0.05^(−1/K) − 1)
//
// E are the exposures: at that ratio all K rows stand on some with a chance of 5 %.
// limit is its natural log.
func (f *CountFit) against(none, some []At, pairs int) (p, single, limit float64) {
	place := f.places()
	without, with, events := map[int]int{}, map[int]int{}, map[int]int{}
	var exposedNone, exposedSome, k float64
	for _, r := range f.Design.Rows(none) {
		without[place[r]]++
		exposedNone += math.Exp(f.offset[r])
	}
	for _, r := range f.Design.Rows(some) {
		with[place[r]]++
		exposedSome += math.Exp(f.offset[r])
		if f.Y[r] > 0 {
			events[place[r]]++
			k++
		}
	}
	chance := 1.0
	for at, n := range events {
		for i := range n {
			chance *= float64(with[at]-i) / float64(with[at]+without[at]-i)
		}
	}
	single = math.Min(1, 2*chance)
	return math.Min(1, float64(pairs)*single), single, math.Log(exposedSome / exposedNone * math.Expm1(-math.Log(0.05)/k))
}

// eventlessPairs compares pairs of which one has no event; a pair of two such cells has
// no comparison.
func (f *CountFit) eventlessPairs(family Family, none []bool, list []Difference, number int) []Pair {
	var pairs []Pair
	for _, d := range list {
		if none[d.A] == none[d.B] {
			continue
		}
		p := Pair{A: d.A, B: d.B, Eventless: true, Critical: math.NaN()}
		p.SE, p.DF = math.NaN(), math.NaN()
		var limit float64
		if none[d.A] {
			p.P, p.PSingle, limit = f.against(family.Cells[d.A], family.Cells[d.B], number)
			p.Value, p.CI95 = math.Inf(-1), [2]float64{math.Inf(-1), limit}
		} else {
			p.P, p.PSingle, limit = f.against(family.Cells[d.B], family.Cells[d.A], number)
			p.Value, p.CI95 = math.Inf(1), [2]float64{-limit, math.Inf(1)}
		}
		pairs = append(pairs, p)
	}
	return pairs
}

func (f *CountFit) pairs(family Family, list []Difference, means int) ([]Pair, error) {
	none, any := f.eventless(family)
	if !any {
		pairs, err := tukey(f.Linear, list, means)
		return f.carrier.refuse(pairs, means, f.DF), err
	}
	// All pairs are one family, by whichever test: the others are judged among as many
	// means as if none were without events.
	rest := slices.DeleteFunc(slices.Clone(list), func(d Difference) bool { return none[d.A] || none[d.B] })
	pairs, err := tukey(f.Linear, rest, means)
	pairs = append(f.carrier.refuse(pairs, means, f.DF), f.eventlessPairs(family, none, list, means*(means-1)/2)...)
	slices.SortFunc(pairs, func(a, b Pair) int {
		if a.A != b.A {
			return a.A - b.A
		}
		return a.B - b.B
	})
	return pairs, err
}

// withoutF is the test of an effect of treatments that has a cell without events; nil
// where it has none.
func (f *CountFit) withoutF(e Effect) (*Test, error) {
	if e.Kind != KindTreatment && e.Kind != KindInteraction {
		return nil, nil //nolint:nilnil // no test of this kind, and no fault
	}
	if _, any := f.eventless(Family{Cells: f.Design.cells(e.Factors...)}); !any {
		return nil, nil //nolint:nilnil // likewise
	}
	t := &Test{Term: e.Term, Eventless: true}
	if e.Kind == KindInteraction {
		return t, nil
	}
	return t, t.smallest(f, f.Design, e.Factors[0])
}
