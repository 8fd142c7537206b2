package claimsworlds

// factor is a treatment with its levels and what each level adds.
type factor struct {
	name    string
	levels  []string
	effects []float64
	weights []int // how often a level is dealt; nil: equally
}

// idle is a treatment that does nothing.
func idle(name string, levels ...string) factor {
	return factor{name: name, levels: levels, effects: make([]float64, len(levels))}
}

// active is a treatment of which each level adds its effect.
func active(name string, effects []float64, levels ...string) factor {
	return factor{name: name, levels: levels, effects: effects}
}

var (
	idleMedium = idle("medium", "peat", "coir", "bark")
	idleFeed   = idle("feed", "weak", "full")
	idleCover  = idle("cover", "open", "lid")
)

// deck is m cards of the factor's levels, as even as its weights allow.
func (b *bench) deck(f factor, m int) []int {
	var pack []int
	for k := range f.levels {
		w := 1
		if f.weights != nil {
			w = f.weights[k]
		}
		for range w {
			pack = append(pack, k)
		}
	}
	var deck []int
	for len(deck) < m {
		b.Shuffle(len(pack), func(i, j int) { pack[i], pack[j] = pack[j], pack[i] })
		deck = append(deck, pack...)
	}
	deck = deck[:m]
	b.Shuffle(m, func(i, j int) { deck[i], deck[j] = deck[j], deck[i] })
	return deck
}

// dealPlants deals a treatment to plants at random within bins.
func (b *bench) dealPlants(f factor) {
	level := make([]int, 0, b.n)
	for range b.bins {
		level = append(level, b.deck(f, b.rows*b.cols)...)
	}
	b.give(f, level, false)
}

// dealCrossed deals all pairs of two treatments evenly within bins.
func (b *bench) dealCrossed(f, g factor) {
	cells := factor{levels: make([]string, len(f.levels)*len(g.levels))}
	var first, second []int
	for range b.bins {
		for _, cell := range b.deck(cells, b.rows*b.cols) {
			first = append(first, cell/len(g.levels))
			second = append(second, cell%len(g.levels))
		}
	}
	b.give(f, first, false)
	b.give(g, second, false)
}

// dealBins deals a treatment to whole bins at random, evenly over each shelf.
func (b *bench) dealBins(f factor) {
	ofBin := make([]int, b.bins)
	order := b.Perm(len(f.levels))
	next := 0
	for s := range b.shelves {
		var here []int
		for k := range b.bins {
			if k*b.shelves/b.bins == s {
				here = append(here, k)
			}
		}
		b.Shuffle(len(here), func(i, j int) { here[i], here[j] = here[j], here[i] })
		for _, k := range here {
			ofBin[k] = order[next%len(order)]
			next++
		}
	}
	b.giveBins(f, ofBin)
}

// giveBins sets the level of each bin, without any dealing.
func (b *bench) giveBins(f factor, ofBin []int) {
	level := make([]int, b.n)
	for i := range level {
		level[i] = ofBin[b.bin[i]]
	}
	b.give(f, level, true)
}

// give sets the level of each plant and puts the column in the table.
func (b *bench) give(f factor, level []int, wholeBins bool) {
	b.dealt[f.name], b.factors[f.name] = level, f
	labels := make([]string, b.n)
	for i, k := range level {
		labels[i] = f.levels[k]
	}
	b.columns = append(b.columns, Column{Name: f.name, Labels: labels})
	if wholeBins {
		b.roles.BinTreatments = append(b.roles.BinTreatments, f.name)
	} else {
		b.roles.PlantTreatments = append(b.roles.PlantTreatments, f.name)
	}
}

// act adds to the expectation what each plant's level of f does.
func (b *bench) act(f factor) {
	level := b.dealt[f.name]
	b.add(func(i int) float64 { return f.effects[level[i]] })
}

// is tells the level number of plant i.
func (b *bench) is(f factor, i int) int { return b.dealt[f.name][i] }
