package deal

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
)

// Place is where a plant stands.
type Place struct {
	Bin         string
	Row, Column int
}

// Layout is what was dealt.
type Layout struct {
	Places []Place // of each plant of the plan
	Labels [][]int // by treatment and plant: the level's index, -1 for none
	Record Record
}

// Record is what is kept of a deal, so that labels can be dealt anew by the
// same procedure under the same constraints.
type Record struct {
	Procedure  string      `json:"procedure"` // in words, for people
	Version    int         `json:"version"`   // of the procedure
	Seed       uint64      `json:"seed"`
	ByLight    bool        `json:"by_light"` // positions were sorted by a light map in every bin
	Treatments []Treatment `json:"treatments"`
	Decks      []DeckKept  `json:"decks"`
}

// DeckKept is treatments that were dealt together.
type DeckKept struct {
	Treatments []string    `json:"treatments"`
	Groups     []GroupKept `json:"groups,omitempty"` // of treatments set per plant
	Units      []UnitKept  `json:"units,omitempty"`  // of treatments set per bin or reservoir
}

// GroupKept is one value of analyse_by.
type GroupKept struct {
	Group string    `json:"group"`
	Bins  []BinKept `json:"bins"`
}

// BinKept is a bin's sets, as plants' codes.
type BinKept struct {
	Bin   string     `json:"bin"`
	Block string     `json:"block,omitempty"`
	Whole [][]string `json:"whole"`          // every treatment cell once
	Rest  []string   `json:"rest,omitempty"` // different cells, fewer than all
}

// UnitKept is a bin or reservoir.
type UnitKept struct {
	Name  string `json:"name"`
	Block string `json:"block,omitempty"`
	Cell  int    `json:"cell"` // which combination of levels it got, the last treatment fastest
}

const version = 1

// Lay deals a layout by the procedure in the package's comment. The same plan
// and seed give the same layout.
//
// Errors: no plants, more plants than positions, a code twice, a treatment
// with fewer than two levels, a bin without the reservoir it needs, levels tied to
// bins so that a bin or a level is left with none.
func Lay(p Plan, seed uint64) (*Layout, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	l := &laying{plan: p, rng: rand.New(rand.NewPCG(seed, seed)), at: make([]place, len(p.Plants))}
	l.Record = Record{Version: version, Seed: seed, ByLight: true, Treatments: p.Treatments}
	l.guards()
	l.place()
	if err := l.label(); err != nil {
		return nil, err
	}
	l.Record.Procedure = l.procedure()
	l.Places = make([]Place, len(p.Plants))
	for i, at := range l.at {
		cell := p.Bins[at.bin].Cells[at.cell]
		l.Places[i] = Place{p.Bins[at.bin].Name, cell.Row, cell.Column}
	}
	return &l.Layout, nil
}

// place is a cell of the plan.
type place struct{ bin, cell int }

type laying struct {
	Layout
	plan   Plan
	rng    *rand.Rand
	at     []place
	taken  []map[int]bool // by bin: cells that guards hold
	groups []string
	sets   [][][]int // by group and bin: plants in the order of the bin's path
	cells  int       // treatment cells that one set holds
	joint  bool      // all treatments set per plant are dealt as one
}

// guards puts guard plants on corners, then on the rim, then anywhere.
func (l *laying) guards() {
	var guards []int
	for i, p := range l.plan.Plants {
		if p.Guard {
			guards = append(guards, i)
		}
	}
	room := make([]int, len(l.plan.Bins))
	l.taken = make([]map[int]bool, len(l.plan.Bins))
	for b, bin := range l.plan.Bins {
		room[b] = len(bin.Cells)
		l.taken[b] = map[int]bool{}
	}
	l.rng.Shuffle(len(guards), func(a, b int) { guards[a], guards[b] = guards[b], guards[a] })
	for b, n := range spread([]int{len(guards)}, room)[0] {
		cells := l.plan.Bins[b].Cells
		r := rimOf(cells)
		order := l.rng.Perm(len(cells))
		slices.SortStableFunc(order, func(x, y int) int {
			return cmp.Compare(guardRank(r, cells[x]), guardRank(r, cells[y]))
		})
		for _, cell := range order[:n] {
			l.at[guards[0]] = place{b, cell}
			l.taken[b][cell] = true
			guards = guards[1:]
		}
	}
}

func guardRank(r rim, c Cell) int {
	switch {
	case r.corner(c):
		return 0
	case r.edge(c):
		return 1
	}
	return 2
}

// place puts the plants of every group on positions.
func (l *laying) place() {
	members := map[string][]int{}
	for i, p := range l.plan.Plants {
		if p.Guard {
			continue
		}
		if _, ok := members[p.Group]; !ok {
			l.groups = append(l.groups, p.Group)
		}
		members[p.Group] = append(members[p.Group], i)
	}
	counts := make([]int, len(l.groups))
	for g, name := range l.groups {
		counts[g] = len(members[name])
	}
	room := make([]int, len(l.plan.Bins))
	for b, bin := range l.plan.Bins {
		room[b] = len(bin.Cells) - len(l.taken[b])
	}
	shares := spread(counts, room)
	l.cellsOf(shares)

	free := make([][][]int, len(l.plan.Bins)) // by bin and group: cells along the path
	for b := range l.plan.Bins {
		mine := make([]int, len(l.groups))
		for g := range l.groups {
			mine[g] = shares[g][b]
		}
		free[b] = l.split(b, mine)
	}
	l.sets = make([][][]int, len(l.groups))
	for g, name := range l.groups {
		l.sets[g] = l.bySize(members[name], shares[g])
		for b, plants := range l.sets[g] {
			for i, plant := range plants {
				l.at[plant] = place{b, free[b][g][i]}
			}
		}
	}
}

// cellsOf decides whether the treatments set per plant are dealt as one.
func (l *laying) cellsOf(shares [][]int) {
	product, largest, least := 1, 1, math.MaxInt
	for _, t := range l.plan.Treatments {
		if t.SetPer == PerPlant {
			product *= len(t.Levels)
			largest = max(largest, len(t.Levels))
		}
	}
	for _, bins := range shares {
		for _, n := range bins {
			if n > 0 {
				least = min(least, n)
			}
		}
	}
	l.joint = product <= least
	l.cells = largest
	if l.joint {
		l.cells = product
	}
}

// split chooses the cells that stay free in a bin and shares the others among
// the groups, evenly along the path.
func (l *laying) split(b int, counts []int) [][]int {
	cells := l.plan.Bins[b].Cells
	needed := 0
	for _, n := range counts {
		needed += n
	}
	var open []int
	for i := range cells {
		if !l.taken[b][i] {
			open = append(open, i)
		}
	}
	l.rng.Shuffle(len(open), func(i, j int) { open[i], open[j] = open[j], open[i] })
	slices.SortStableFunc(open, func(i, j int) int {
		switch {
		case cells[i].Sensor == cells[j].Sensor:
			return 0
		case cells[j].Sensor:
			return -1
		}
		return 1
	})
	used := map[int]bool{}
	for _, i := range open[:needed] {
		used[i] = true
	}
	order, byLight := path(cells)
	l.Record.ByLight = l.Record.ByLight && byLight
	order = slices.DeleteFunc(order, func(i int) bool { return !used[i] })

	chunks := needed
	for _, n := range counts {
		if n > 0 {
			chunks = min(chunks, n)
		}
	}
	mine := make([][]int, len(counts))
	for c := range chunks {
		var owners []int
		for g, n := range counts {
			for range (c+1)*n/chunks - c*n/chunks {
				owners = append(owners, g)
			}
		}
		l.rng.Shuffle(len(owners), func(i, j int) { owners[i], owners[j] = owners[j], owners[i] })
		for i, g := range owners {
			mine[g] = append(mine[g], order[i])
		}
		order = order[len(owners):]
	}
	return mine
}

// bySize deals a group's plants to bins: sets of like size, one of each layer
// of sizes to every bin, in random order along the bin's path, plants at random
// within a set. A bin's shorter set holds middling plants and lies midway.
func (l *laying) bySize(plants []int, shares []int) [][]int {
	plants = slices.Clone(plants)
	known := func(i int) bool { return !math.IsNaN(l.plan.Plants[i].Start) }
	if !slices.ContainsFunc(plants, known) {
		l.rng.Shuffle(len(plants), func(i, j int) { plants[i], plants[j] = plants[j], plants[i] })
	} else {
		slices.SortStableFunc(plants, func(i, j int) int {
			if known(i) != known(j) {
				return map[bool]int{true: -1, false: 1}[known(i)]
			}
			if !known(i) {
				return 0
			}
			return cmp.Compare(l.plan.Plants[i].Start, l.plan.Plants[j].Start)
		})
	}
	whole := make([][][]int, len(shares))
	rest := make([][]int, len(shares))
	take := func(n int) []int {
		set := slices.Clone(plants[:n])
		plants = plants[n:]
		l.rng.Shuffle(n, func(i, j int) { set[i], set[j] = set[j], set[i] })
		return set
	}
	layer := func(has func(sets int) bool) bool {
		var bins []int
		for b, n := range shares {
			if has(n / l.cells) {
				bins = append(bins, b)
			}
		}
		l.rng.Shuffle(len(bins), func(i, j int) { bins[i], bins[j] = bins[j], bins[i] })
		for _, b := range bins {
			whole[b] = append(whole[b], take(l.cells))
		}
		return len(bins) > 0
	}
	for j := 0; layer(func(sets int) bool { return j < sets/2 }); j++ {
	}
	for _, b := range l.rng.Perm(len(shares)) {
		rest[b] = take(shares[b] % l.cells)
	}
	for j := 0; layer(func(sets int) bool { return j < sets-sets/2 }); j++ {
	}
	dealt := make([][]int, len(shares))
	for b, sets := range whole {
		l.rng.Shuffle(len(sets), func(i, j int) { sets[i], sets[j] = sets[j], sets[i] })
		for i, set := range sets {
			if i == len(sets)/2 {
				dealt[b] = append(dealt[b], rest[b]...)
			}
			dealt[b] = append(dealt[b], set...)
		}
		if len(sets) == 0 {
			dealt[b] = rest[b]
		}
	}
	return dealt
}

// label deals the treatments.
func (l *laying) label() error {
	l.Labels = make([][]int, len(l.plan.Treatments))
	for t := range l.Labels {
		l.Labels[t] = slices.Repeat([]int{-1}, len(l.plan.Plants))
	}
	l.Record.Decks = append(l.plantDecks(), l.unitDecks()...)
	codes := make([]string, len(l.plan.Plants))
	bins := make([]string, len(l.plan.Plants))
	reservoirs := make([]string, len(l.plan.Plants))
	for i, p := range l.plan.Plants {
		codes[i] = p.Code
		bins[i] = l.plan.Bins[l.at[i].bin].Name
		reservoirs[i] = l.plan.Bins[l.at[i].bin].Reservoir
	}
	if r := l.Record.Redeal(codes); r != nil {
		byName := make([][]int, 0, len(r.names))
		for _, name := range r.names {
			byName = append(byName, l.Labels[l.index(name)])
		}
		r.Deal(l.rng, byName)
	}
	for d := range l.Record.Decks {
		kept := &l.Record.Decks[d]
		if len(kept.Units) == 0 {
			continue
		}
		units := kept.unitDeal(l.Record.Treatments)
		cells := units.Deal(l.rng)
		for u := range kept.Units {
			kept.Units[u].Cell = cells[u]
		}
		for j, name := range kept.Treatments {
			t := l.index(name)
			if level := kept.leftOut(l.plan.Treatments[t], j, units); level != "" {
				return fmt.Errorf("only_bins leaves no bin for the level %q of %s: name more bins beside it, or fewer beside the others", level, name)
			}
			of := bins
			if l.plan.Treatments[t].SetPer == PerReservoir {
				of = reservoirs
			}
			for i := range l.plan.Plants {
				u := slices.IndexFunc(kept.Units, func(k UnitKept) bool { return k.Name == of[i] })
				l.Labels[t][i] = units.level(cells[u], j)
			}
		}
	}
	return nil
}

func (l *laying) index(name string) int {
	return slices.IndexFunc(l.plan.Treatments, func(t Treatment) bool { return t.Name == name })
}

// decks names the treatments that are dealt together.
func (l *laying) decks(per SetPer, joint bool) [][]string {
	var decks [][]string
	for _, t := range l.plan.Treatments {
		if t.SetPer != per {
			continue
		}
		if joint && len(decks) > 0 {
			decks[0] = append(decks[0], t.Name)
		} else {
			decks = append(decks, []string{t.Name})
		}
	}
	return decks
}

func (l *laying) plantDecks() []DeckKept {
	var decks []DeckKept
	for _, names := range l.decks(PerPlant, l.joint) {
		deck := DeckKept{Treatments: names}
		cells := 1
		for _, n := range names {
			cells *= len(l.plan.Treatments[l.index(n)].Levels)
		}
		for g, group := range l.groups {
			kept := GroupKept{Group: group}
			for b, plants := range l.sets[g] {
				if len(plants) == 0 {
					continue
				}
				bin := l.plan.Bins[b]
				kept.Bins = append(kept.Bins, l.cut(bin, plants, cells))
			}
			deck.Groups = append(deck.Groups, kept)
		}
		decks = append(decks, deck)
	}
	return decks
}

// cut cuts a bin's plants, in the order of its path, into sets of as many as
// there are treatment cells, the shorter one midway.
func (l *laying) cut(bin Bin, plants []int, cells int) BinKept {
	kept := BinKept{Bin: bin.Name, Block: bin.Block}
	codes := make([]string, len(plants))
	for i, p := range plants {
		codes[i] = l.plan.Plants[p].Code
	}
	sets, rest := len(codes)/cells, len(codes)%cells
	before := sets / 2 * cells
	kept.Rest = codes[before : before+rest]
	for set := range slices.Chunk(slices.Concat(codes[:before], codes[before+rest:]), cells) {
		kept.Whole = append(kept.Whole, set)
	}
	return kept
}

func (l *laying) unitDecks() []DeckKept {
	var decks []DeckKept
	for _, per := range []SetPer{PerBin, PerReservoir} {
		units := l.units(per)
		product := 1
		for _, t := range l.plan.Treatments {
			if t.SetPer == per {
				product *= len(t.Levels)
			}
		}
		for _, names := range l.decks(per, product <= len(units)) {
			decks = append(decks, DeckKept{Treatments: names, Units: slices.Clone(units)})
		}
	}
	return decks
}

// units lists bins or reservoirs with their blocks. A reservoir that waters
// bins of several blocks belongs to none.
func (l *laying) units(per SetPer) []UnitKept {
	var units []UnitKept
	for _, b := range l.plan.Bins {
		name := b.Name
		if per == PerReservoir {
			name = b.Reservoir
		}
		i := slices.IndexFunc(units, func(u UnitKept) bool { return u.Name == name })
		switch {
		case i < 0:
			units = append(units, UnitKept{Name: name, Block: b.Block})
		case units[i].Block != b.Block:
			units[i].Block = ""
		}
	}
	return units
}
