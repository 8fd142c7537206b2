package model

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Limits of the test among bins.
const (
	maxListed = 9999 // deals beyond this are drawn
	minDeals  = 20   // fewer can't give a p of 0.05
)

// DealTest tests a treatment that whole bins or reservoirs got, by all deals of
// its levels to them within blocks.
type DealTest struct {
	Names  []string // of the units
	Yes, N []int    // by unit
	Deals  float64  // distinct deals; +Inf beyond what a float64 holds
	Listed bool     // all deals were listed; else 9,999 were drawn, seeded
	P      float64
	OK     bool // false under 20 deals, where no p could be small

	// Pairs are the p of the treatment's pairs, level 1 against 0, 2 against 0, 2
	// against 1 and so on: the share of deals in which any pair's means lie as far
	// apart, for the number of their units, as those of this pair do.
	Pairs []float64
}

// DealShares tests the shares of yes answers y, 1 or 0 a row, among units.
// units sorts the rows into units; treatment and block sort the rows too and do
// not differ within a unit, which panics. block nil means one.
//
// The statistic is Σ (Σ rᵤ)²/m over the treatment's levels, where r is the
// unit's share less the mean share of its block and m the number of units at
// that level; units without a row are left out. With all deals listed, p is the share of deals, the one that was
// made included, with a statistic as large; with drawn ones (1 + those)/(1 + 9999).
//
// Errors: an answer that is neither 1 nor 0.
func DealShares(units, treatment Factor, block *Factor, y []float64, seed uint64) (*DealTest, error) {
	if err := answers(y); err != nil {
		return nil, err
	}
	if len(units.Of) != len(y) || !Holds(units, treatment) || block != nil && !Holds(units, *block) {
		panic("model: a unit has two levels of its treatment or lies in two blocks")
	}
	units = withRows(units)
	t := &DealTest{Names: units.Levels, Yes: make([]int, len(units.Levels)), N: make([]int, len(units.Levels))}
	level, of := make([]int, len(units.Levels)), make([]int, len(units.Levels))
	for i, u := range units.Of {
		t.N[u]++
		t.Yes[u] += int(y[i])
		level[u] = treatment.Of[i]
		if block != nil {
			of[u] = block.Of[i]
		}
	}
	d := newUnitDeals(t.residuals(of), level, of)
	t.Deals = d.count()
	if t.Deals < minDeals {
		return t, nil
	}
	t.OK = true
	observed := d.statistic() * (1 - 1e-9)
	apart := d.apart()
	as, pairs, deals := 0.0, make([]float64, len(apart)), 0.0
	look := func() {
		deals++
		if d.statistic() >= observed {
			as++
		}
		furthest := slices.Max(d.apart())
		for k, own := range apart {
			if furthest >= own*(1-1e-9) {
				pairs[k]++
			}
		}
	}
	if t.Listed = t.Deals <= maxListed; t.Listed {
		d.list(look)
	} else {
		look()
		rng := rand.New(rand.NewPCG(seed, 0x62696e73)) // "bins"
		for range maxListed {
			d.draw(rng)
			look()
		}
	}
	t.P = as / deals
	for _, n := range pairs {
		t.Pairs = append(t.Pairs, n/deals)
	}
	return t, nil
}

// withRows is f without the levels that no row has.
func withRows(f Factor) Factor {
	d := Design{N: len(f.Of)}
	return d.used(f)
}

// residuals are the units' shares less the mean share of their block.
func (t *DealTest) residuals(block []int) []float64 {
	share := make([]float64, len(t.N))
	sums, counts := map[int]float64{}, map[int]float64{}
	for u := range share {
		share[u] = float64(t.Yes[u]) / float64(t.N[u])
		sums[block[u]] += share[u]
		counts[block[u]]++
	}
	for u := range share {
		share[u] -= sums[block[u]] / counts[block[u]]
	}
	return share
}

// unitDeals deals levels to units within blocks.
type unitDeals struct {
	value  []float64
	level  []int   // of each unit, as dealt
	blocks [][]int // units
	size   []float64
	sums   []float64
}

func newUnitDeals(value []float64, level, block []int) *unitDeals {
	d := &unitDeals{value: value, level: level}
	d.blocks = make([][]int, slices.Max(block)+1)
	for u, b := range block {
		d.blocks[b] = append(d.blocks[b], u)
	}
	d.size = make([]float64, slices.Max(level)+1)
	for _, l := range level {
		d.size[l]++
	}
	d.sums = make([]float64, len(d.size))
	return d
}

// count is the number of distinct deals: the product over blocks of the
// multinomial coefficient of its levels.
func (d *unitDeals) count() float64 {
	deals := 1.0
	for _, units := range d.blocks {
		n := 0.0
		tally := map[int]float64{}
		for _, u := range units {
			n++
			tally[d.level[u]]++
			deals = deals * n / tally[d.level[u]]
		}
	}
	return math.Round(deals)
}

func (d *unitDeals) statistic() float64 {
	clear(d.sums)
	for u, l := range d.level {
		d.sums[l] += d.value[u]
	}
	var s float64
	for l, sum := range d.sums {
		if d.size[l] > 0 {
			s += sum * sum / d.size[l]
		}
	}
	return s
}

// apart is how far the levels' means lie apart, in standard errors of a unit's
// share, by pair; the sums are those of the last statistic.
func (d *unitDeals) apart() []float64 {
	var list []float64
	for a, sum := range d.sums {
		for b := range a {
			between := 0.0
			if d.size[a] > 0 && d.size[b] > 0 {
				between = math.Abs(sum/d.size[a]-d.sums[b]/d.size[b]) / math.Sqrt(1/d.size[a]+1/d.size[b])
			}
			list = append(list, between)
		}
	}
	return list
}

// list calls visit for every distinct deal, the present one included.
func (d *unitDeals) list(visit func()) {
	for _, units := range d.blocks {
		levels := make([]int, len(units))
		for i, u := range units {
			levels[i] = d.level[u]
		}
		slices.Sort(levels)
		for i, u := range units {
			d.level[u] = levels[i]
		}
	}
	var block func(b int)
	block = func(b int) {
		if b == len(d.blocks) {
			visit()
			return
		}
		for more := true; more; more = d.next(d.blocks[b]) {
			block(b + 1)
		}
	}
	block(0)
}

// next makes the levels of the units the next arrangement in lexicographic
// order; after the last it makes the first and tells so.
func (d *unitDeals) next(units []int) bool {
	i := len(units) - 2
	for i >= 0 && d.level[units[i]] >= d.level[units[i+1]] {
		i--
	}
	if i >= 0 {
		j := len(units) - 1
		for d.level[units[j]] <= d.level[units[i]] {
			j--
		}
		d.swap(units, i, j)
	}
	for a, b := i+1, len(units)-1; a < b; a, b = a+1, b-1 {
		d.swap(units, a, b)
	}
	return i >= 0
}

func (d *unitDeals) swap(units []int, i, j int) {
	d.level[units[i]], d.level[units[j]] = d.level[units[j]], d.level[units[i]]
}

func (d *unitDeals) draw(rng *rand.Rand) {
	for _, units := range d.blocks {
		rng.Shuffle(len(units), func(i, j int) { d.swap(units, i, j) })
	}
}
