package deal

import (
	"encoding/binary"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
)

// tied deals cells to units some of which can't have every cell. Of all deals that
// give each unit a cell that it can have, those are allowed whose counts are as even
// as the ties let them be,
//
//	Σ n² within blocks + Σ N² over all   (n, N: units of a cell)
//
// least, and each of them is equally likely. Without ties these are the deals of
// Units. The ways to finish a deal depend only on how many units each cell has so
// far, in the block and in all, so that they are counted once for each such tally;
// cells that the same units can have are alike.
type tied struct {
	cells  int
	order  []int    // units, block by block
	first  []bool   // by place in the order: whether a block begins
	may    [][]bool // by place in the order and cell
	kind   []int    // by cell: equal for cells that the same units can have
	finish map[string]finish
}

// finish is how the rest of a deal may go.
type finish struct {
	cost int // the least that it adds
	ways float64
}

// tally is how many units each cell has so far.
type tally struct{ block, all []int }

// none is the cost of what can't be finished.
const none = 1 << 30

func newTied(cells int, blocks [][]int, may func(unit, cell int) bool) *tied {
	t := &tied{cells: cells, finish: map[string]finish{}}
	for _, units := range blocks {
		for i, u := range units {
			t.order, t.first = append(t.order, u), append(t.first, i == 0)
			can := make([]bool, cells)
			for cell := range can {
				can[cell] = may(u, cell)
			}
			t.may = append(t.may, can)
		}
	}
	for cell := range cells {
		alike := slices.IndexFunc(t.kind, func(k int) bool {
			return !slices.ContainsFunc(t.may, func(can []bool) bool { return can[k] != can[cell] })
		})
		if alike < 0 {
			alike = cell
		}
		t.kind = append(t.kind, alike)
	}
	return t
}

// give is the tally after the i-th unit got the cell, and what that cost.
func (t *tied) give(i int, now tally, cell int) (tally, int) {
	next := tally{slices.Clone(now.block), slices.Clone(now.all)}
	if t.first[i] {
		clear(next.block)
	}
	cost := 2*next.block[cell] + 1 + 2*next.all[cell] + 1
	next.block[cell]++
	next.all[cell]++
	return next, cost
}

// rest is how a deal may be finished from the i-th unit on.
func (t *tied) rest(i int, now tally) finish {
	if i == len(t.order) {
		return finish{0, 1}
	}
	key := t.key(i, now)
	if f, ok := t.finish[key]; ok {
		return f
	}
	best := finish{cost: none}
	for cell := range t.cells {
		f, ok := t.with(i, now, cell)
		switch {
		case !ok || f.cost > best.cost:
		case f.cost < best.cost:
			best = f
		default:
			best.ways += f.ways
		}
	}
	t.finish[key] = best
	return best
}

// with is how a deal may be finished that gives the i-th unit the cell.
func (t *tied) with(i int, now tally, cell int) (f finish, ok bool) {
	if !t.may[i][cell] {
		return finish{}, false
	}
	next, cost := t.give(i, now, cell)
	f = t.rest(i+1, next)
	f.cost += cost
	return f, f.cost < none
}

// key names a tally, whichever of the cells that are alike has which count.
func (t *tied) key(i int, now tally) string {
	counts := make([][3]int, t.cells)
	for cell := range counts {
		counts[cell] = [3]int{t.kind[cell], now.all[cell], now.block[cell]}
		if i < len(t.first) && t.first[i] {
			counts[cell][2] = 0
		}
	}
	slices.SortFunc(counts, func(a, b [3]int) int { return slices.Compare(a[:], b[:]) })
	key := make([]byte, 0, 4*len(counts)+2)
	key = binary.AppendUvarint(key, uint64(i))
	for _, c := range counts {
		for _, n := range c {
			key = binary.AppendUvarint(key, uint64(n))
		}
	}
	return string(key)
}

func (t *tied) start() tally { return tally{make([]int, t.cells), make([]int, t.cells)} }

// deal is a new deal: the cell of each unit.
func (t *tied) deal(rng *rand.Rand) []int {
	dealt, now := make([]int, len(t.order)), t.start()
	for i, unit := range t.order {
		best := t.rest(i, now)
		at := rng.Float64() * best.ways
		for cell := range t.cells {
			f, ok := t.with(i, now, cell)
			if !ok || f.cost != best.cost {
				continue
			}
			dealt[unit] = cell // the last of them, should rounding leave something over
			if at -= f.ways; at < 0 {
				break
			}
		}
		now, _ = t.give(i, now, dealt[unit])
	}
	return dealt
}

// all lists every deal, up to limit.
func (t *tied) all(limit int) (deals [][]int, complete bool) {
	dealt := make([]int, len(t.order))
	complete = true
	var deal func(i int, now tally)
	deal = func(i int, now tally) {
		if i == len(t.order) {
			complete = len(deals) < limit
			if complete {
				deals = append(deals, slices.Clone(dealt))
			}
			return
		}
		best := t.rest(i, now)
		for cell := range t.cells {
			if f, ok := t.with(i, now, cell); ok && f.cost == best.cost && complete {
				dealt[t.order[i]] = cell
				next, _ := t.give(i, now, cell)
				deal(i+1, next)
			}
		}
	}
	deal(0, t.start())
	return deals, complete
}

// CanHave tells whether only_bins lets a bin have the level.
func (t Treatment) CanHave(bin, level string) bool {
	bins, tied := t.OnlyBins[level]
	return !tied || slices.Contains(bins, bin)
}

// Alike sorts bins by which levels they can have: those of one number may have their
// levels exchanged.
func (t Treatment) Alike(bins []string) []int {
	kinds := make([]int, len(bins))
	for i, bin := range bins {
		kinds[i] = slices.IndexFunc(bins, func(other string) bool {
			return !slices.ContainsFunc(t.Levels, func(level string) bool { return t.CanHave(bin, level) != t.CanHave(other, level) })
		})
	}
	return kinds
}

// checkTies finds what makes a deal under only_bins impossible.
func (p Plan) checkTies(t Treatment) error {
	if len(t.OnlyBins) == 0 {
		return nil
	}
	if t.SetPer != PerBin {
		return fmt.Errorf("treatment %q has only_bins and is set per %s: tie levels of a treatment that is set per bin", t.Name, t.SetPer)
	}
	for _, level := range slices.Sorted(maps.Keys(t.OnlyBins)) {
		if !slices.Contains(t.Levels, level) {
			return fmt.Errorf("treatment %q ties a level %q that it does not have: correct only_bins", t.Name, level)
		}
	}
	for _, b := range p.Bins {
		if !slices.ContainsFunc(t.Levels, func(level string) bool { return t.CanHave(b.Name, level) }) {
			return fmt.Errorf("the bin %q can have no level of %s: name it in only_bins beside a level", b.Name, t.Name)
		}
	}
	return nil
}

// leftOut is a tied treatment's level that no bin got though there are as many bins
// as levels; "" for none.
func (d DeckKept) leftOut(treatment Treatment, j int, units *Units) string {
	if len(treatment.OnlyBins) == 0 || len(d.Units) < len(treatment.Levels) {
		return ""
	}
	for k, level := range treatment.Levels {
		if !slices.ContainsFunc(d.Units, func(u UnitKept) bool { return units.level(u.Cell, j) == k }) {
			return level
		}
	}
	return ""
}
