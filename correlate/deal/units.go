package deal

import (
	"math/rand/v2"
	"slices"
)

// Units deals treatment cells to whole bins or reservoirs within blocks.
type Units struct {
	cells  int
	levels []int   // of each treatment; a cell counts them with the last fastest
	blocks [][]int // units of each block
	over   *extras
	tied   *tied // nil where any unit can have any cell
}

// blocksOf lists the units of each block, blocks in order of appearance.
func blocksOf(block []int) [][]int {
	var blocks [][]int
	at := map[int]int{}
	for i, b := range block {
		if _, ok := at[b]; !ok {
			at[b] = len(blocks)
			blocks = append(blocks, nil)
		}
		blocks[at[b]] = append(blocks[at[b]], i)
	}
	return blocks
}

// unitDeal is the kept deck's procedure: within a block, and over all blocks,
// the counts of any two cells differ by at most one, as far as levels are not tied.
func (d DeckKept) unitDeal(all []Treatment) *Units {
	u := &Units{cells: 1}
	var treatments []Treatment
	isTied := false
	for _, name := range d.Treatments {
		t := all[slices.IndexFunc(all, func(t Treatment) bool { return t.Name == name })]
		treatments = append(treatments, t)
		u.levels = append(u.levels, len(t.Levels))
		u.cells *= len(t.Levels)
		isTied = isTied || len(t.OnlyBins) > 0
	}
	names := map[string]int{}
	block := make([]int, len(d.Units))
	for i, unit := range d.Units {
		if _, ok := names[unit.Block]; !ok {
			names[unit.Block] = len(names)
		}
		block[i] = names[unit.Block]
	}
	u.blocks = blocksOf(block)
	over := make([]int, len(u.blocks))
	for b, units := range u.blocks {
		over[b] = len(units) % u.cells
	}
	u.over = newExtras(u.cells, over)
	if isTied {
		u.tied = newTied(u.cells, u.blocks, func(unit, cell int) bool {
			for j, t := range treatments {
				if !t.CanHave(d.Units[unit].Name, t.Levels[u.level(cell, j)]) {
					return false
				}
			}
			return true
		})
	}
	return u
}

// level is the level of the deck's j-th treatment in a cell.
func (u *Units) level(cell, j int) int {
	for i := len(u.levels) - 1; i > j; i-- {
		cell /= u.levels[i]
	}
	return cell % u.levels[j]
}

// Deal is a new deal: the cell of each unit.
func (u *Units) Deal(rng *rand.Rand) []int {
	if u.tied != nil {
		return u.tied.deal(rng)
	}
	n := 0
	for _, units := range u.blocks {
		n += len(units)
	}
	dealt := make([]int, n)
	over := u.over.draw(rng)
	for b, units := range u.blocks {
		var cells []int
		for cell := range u.cells {
			cells = append(cells, slices.Repeat([]int{cell}, len(units)/u.cells)...)
		}
		cells = append(cells, over[b]...)
		rng.Shuffle(len(cells), func(i, j int) { cells[i], cells[j] = cells[j], cells[i] })
		for i, unit := range units {
			dealt[unit] = cells[i]
		}
	}
	return dealt
}

// All lists every deal that is allowed, each once. complete is false where
// there are more than limit; then the list is cut.
func (u *Units) All(limit int) (deals [][]int, complete bool) {
	if u.tied != nil {
		return u.tied.all(limit)
	}
	var order, block []int
	for b, units := range u.blocks {
		for _, i := range units {
			order = append(order, i)
			block = append(block, b)
		}
	}
	dealt := make([]int, len(order))
	inBlock := make([][]int, len(u.blocks))
	for b := range inBlock {
		inBlock[b] = make([]int, u.cells)
	}
	complete = true
	var deal func(i int)
	deal = func(i int) {
		if !complete {
			return
		}
		if i == len(order) {
			if u.balanced(inBlock) {
				if len(deals) == limit {
					complete = false
					return
				}
				deals = append(deals, slices.Clone(dealt))
			}
			return
		}
		b := block[i]
		for cell := range u.cells {
			if inBlock[b][cell] >= (len(u.blocks[b])+u.cells-1)/u.cells {
				continue
			}
			inBlock[b][cell]++
			dealt[order[i]] = cell
			deal(i + 1)
			inBlock[b][cell]--
		}
	}
	deal(0)
	return deals, complete
}

// balanced tells whether full blocks are an allowed deal.
func (u *Units) balanced(inBlock [][]int) bool {
	total := make([]int, u.cells)
	for b, counts := range inBlock {
		least := len(u.blocks[b]) / u.cells
		for cell, n := range counts {
			if n < least {
				return false
			}
			total[cell] += n - least
		}
	}
	return slices.Max(total)-slices.Min(total) <= 1
}
