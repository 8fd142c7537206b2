package deal

import (
	"fmt"
	"math/rand/v2"
	"slices"
)

// Redeal deals labels anew among rows that stay where they are, by the
// procedure that dealt them at first. It holds no random state and may be used
// by several goroutines, each with a generator and a Redeal of its own (Clone).
type Redeal struct {
	names  []string // treatments
	levels []int    // number of levels of each
	decks  []deck
}

// deck is treatments that are dealt together: a cell is a combination of their
// levels, numbered with the last treatment fastest.
type deck struct {
	treatments []int
	cells      int
	groups     []group
}

// group is the rows that are dealt together: blocks of bins of sets.
type group struct {
	blocks []block
	over   *extras // which cells the blocks hold once more
	within []*extras
}

type block struct {
	bins []binSets
}

type binSets struct {
	whole [][]int // sets of as many rows as there are cells
	rest  []int   // the shorter set
}

// Treatments lists the treatments whose labels are dealt, in the order of the
// labels that Deal fills.
func (r *Redeal) Treatments() []string { return slices.Clone(r.names) }

// Deal fills labels[t][row] with a new deal; rows that hold no label keep what
// is there.
func (r *Redeal) Deal(rng *rand.Rand, labels [][]int) {
	if len(labels) != len(r.names) {
		panic(fmt.Sprintf("deal: labels for %d treatments, want %d", len(labels), len(r.names)))
	}
	for i := range r.decks {
		d := &r.decks[i]
		d.deal(rng, func(row, cell int) {
			for _, t := range slices.Backward(d.treatments) {
				labels[t][row] = cell % r.levels[t]
				cell /= r.levels[t]
			}
		})
	}
}

func (d *deck) deal(rng *rand.Rand, put func(row, cell int)) {
	cells := make([]int, d.cells)
	for i := range cells {
		cells[i] = i
	}
	for _, g := range d.groups {
		over := g.over.draw(rng)
		for b, bl := range g.blocks {
			// The block's shorter sets use every cell equally often, but for those
			// that the block holds once more.
			total := 0
			for _, bin := range bl.bins {
				total += len(bin.rest)
			}
			left := make([]int, d.cells)
			for cell := range left {
				left[cell] = total / d.cells
			}
			for _, cell := range over[b] {
				left[cell]++
			}
			rests := g.within[b].fill(rng, left)
			for i, bin := range bl.bins {
				for _, set := range bin.whole {
					rng.Shuffle(len(cells), func(a, b int) { cells[a], cells[b] = cells[b], cells[a] })
					for j, row := range set {
						if row >= 0 {
							put(row, cells[j])
						}
					}
				}
				for j, row := range bin.rest {
					if row >= 0 {
						put(row, rests[i][j])
					}
				}
			}
		}
	}
}

// Clone is a Redeal that another goroutine may use at the same time.
func (r *Redeal) Clone() *Redeal {
	c := *r
	c.decks = slices.Clone(r.decks)
	for i := range c.decks {
		c.decks[i].groups = slices.Clone(r.decks[i].groups)
		for j := range c.decks[i].groups {
			g := &c.decks[i].groups[j]
			g.over = newExtras(g.over.k, g.over.sizes)
			within := make([]*extras, len(g.within))
			for b, w := range g.within {
				within[b] = newExtras(w.k, w.sizes)
			}
			g.within = within
		}
	}
	return &c
}

// newGroup prepares the extras of a group whose blocks are set.
func newGroup(cells int, blocks []block) group {
	g := group{blocks: blocks}
	var over []int
	for _, bl := range blocks {
		var rests []int
		total := 0
		for _, bin := range bl.bins {
			rests = append(rests, len(bin.rest))
			total += len(bin.rest)
		}
		over = append(over, total%cells)
		g.within = append(g.within, newExtras(cells, rests))
	}
	g.over = newExtras(cells, over)
	return g
}

// Redeal is the record's procedure over rows that hold these plants, in this
// order. It deals the treatments that were set per plant; nil if there are
// none. Plants that are no longer there still take their part in every deal.
func (r Record) Redeal(plants []string) *Redeal {
	row := make(map[string]int, len(plants))
	for i, p := range plants {
		row[p] = i
	}
	rows := func(codes []string) []int {
		at := make([]int, len(codes))
		for i, c := range codes {
			at[i] = -1
			if j, ok := row[c]; ok {
				at[i] = j
			}
		}
		return at
	}
	re := &Redeal{}
	for _, kept := range r.Decks {
		if len(kept.Groups) == 0 {
			continue
		}
		d := deck{cells: 1}
		for _, name := range kept.Treatments {
			i := slices.IndexFunc(r.Treatments, func(t Treatment) bool { return t.Name == name })
			d.treatments = append(d.treatments, len(re.names))
			re.names = append(re.names, name)
			re.levels = append(re.levels, len(r.Treatments[i].Levels))
			d.cells *= len(r.Treatments[i].Levels)
		}
		for _, g := range kept.Groups {
			var blocks []block
			at := map[string]int{}
			for _, b := range g.Bins {
				if _, ok := at[b.Block]; !ok {
					at[b.Block] = len(blocks)
					blocks = append(blocks, block{})
				}
				sets := binSets{rest: rows(b.Rest)}
				for _, w := range b.Whole {
					sets.whole = append(sets.whole, rows(w))
				}
				bl := &blocks[at[b.Block]]
				bl.bins = append(bl.bins, sets)
			}
			d.groups = append(d.groups, newGroup(d.cells, blocks))
		}
		re.decks = append(re.decks, d)
	}
	if len(re.names) == 0 {
		return nil
	}
	return re
}

// Units is the record's procedure for a treatment set per bin or reservoir,
// with the units in the record's order and the index of the treatment within
// the cells that are dealt; ok is false if the record has no such deal.
func (r Record) Units(treatment string) (u *Units, names []string, level func(cell int) int, ok bool) {
	for _, kept := range r.Decks {
		j := slices.Index(kept.Treatments, treatment)
		if j < 0 || len(kept.Units) == 0 {
			continue
		}
		u = kept.unitDeal(r.Treatments)
		for _, unit := range kept.Units {
			names = append(names, unit.Name)
		}
		return u, names, func(cell int) int { return u.level(cell, j) }, true
	}
	return nil, nil, nil, false
}

// Levels lists a treatment's levels as they were dealt; nil if it was not.
func (r Record) Levels(treatment string) []string {
	for _, t := range r.Treatments {
		if t.Name == treatment {
			return t.Levels
		}
	}
	return nil
}
