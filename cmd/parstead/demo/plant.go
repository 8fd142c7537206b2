package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"parstead/light"
)

// The plants of the trial.
const (
	streptocarpus = "Streptocarpus"
	peperomia     = "Peperomia caperata"
	marsilea      = "Marsilea"
)

// media are the potting media that are dealt, in the order of the trial's levels;
// the first is the reference. The water plants root in waterMedium.
var media = []string{"coir", "pumice", "bark", "sphagnum"}

const waterMedium = "loam"

const (
	plantsBin   = 48 // beside guards and the sensor's cell
	guardsBin   = 7
	zoneSize    = 2 * 4 // cells of like light that hold every medium once in each species
	startStrep  = 2.0   // g, typical of a leaf section
	startPep    = 3.2   // g, of a cutting
	startWater  = 1.1   // g, of a rooted runner
	startSDLog  = 0.28
	plantsWater = 40
)

// Plant is one plant with its place and, after the season, its fate.
type Plant struct {
	Code, Species, Cultivar, Mother string
	Medium, LightLevel              string
	StartG                          float64 // fresh mass at the start, g; 0 for a guard
	Dealt                           light.Position

	Harvested light.Date // last light day that counts for it
	MeanDLI   float64    // true mean over its light days to the harvest, mol m⁻² d⁻¹
	LostOn    light.Date // zero for a survivor
	Cause     string

	BiomassG  float64 // true fresh mass, g
	AgainG    float64 // of a second weighing; 0 for none
	Plantlets int
	Leaves    [2]int // at the two counts
	Reverted  bool   // lost its variegation

	stays []light.Stay
}

// Lost tells whether the plant did not reach the harvest.
func (p *Plant) Lost() bool { return !p.LostOn.IsZero() }

// deal makes the plants and gives each a position: within every bin at random
// over zones of like light, so that each zone holds each medium once in each
// species; cultivars are balanced within media.
func (w *World) deal() {
	pools := w.stock(w.stream(streamPlants))
	rng := w.stream(streamDeal)
	next := func(pool string) Plant {
		p := pools[pool][0]
		pools[pool] = pools[pool][1:]
		return p
	}
	for i := range w.places {
		b := &w.places[i]
		put := func(p Plant, cell int) {
			p.Dealt, p.LightLevel = b.at(cell), b.level
			w.Plants = append(w.Plants, p)
		}
		if b.level == pond {
			for cell := range plantsWater {
				p := next(marsilea)
				p.Medium = waterMedium
				put(p, cell)
			}
			continue
		}
		guards, free := w.cells(rng, b)
		for _, cell := range guards {
			put(next("guard"), cell)
		}
		cultivarOf := map[string][]string{}
		for _, m := range media {
			half := plantsBin / zoneSize / 2
			both := append(slices.Repeat([]string{"A"}, half), slices.Repeat([]string{"B"}, half)...)
			shuffle(rng, both)
			cultivarOf[m] = both
		}
		for zone := 0; zone*zoneSize < len(free); zone++ {
			cells := free[zone*zoneSize : (zone+1)*zoneSize]
			shuffle(rng, cells)
			for j, cell := range cells {
				m := media[j%len(media)]
				pool := peperomia
				if j < len(media) {
					pool = cultivarOf[m][zone]
				}
				p := next(pool)
				p.Medium = m
				put(p, cell)
			}
		}
	}
}

// cells chooses a bin's guard cells, corners included, and orders those for
// plants from the brightest to the dimmest.
func (w *World) cells(rng *rand.Rand, b *bin) (guards, free []int) {
	var rim []int
	for cell, at := range b.Positions() {
		corner := (at.Row == 1 || at.Row == b.Rows) && (at.Column == 1 || at.Column == b.Columns)
		switch {
		case corner:
			guards = append(guards, cell)
		case b.Edge(at):
			rim = append(rim, cell)
		case cell != w.sensorCell(b):
			free = append(free, cell)
		}
	}
	shuffle(rng, rim)
	spare := guardsBin - len(guards)
	guards = append(guards, rim[:spare]...)
	free = append(free, rim[spare:]...)
	slices.SortFunc(free, func(a, c int) int { return compare(b.field[0][c], b.field[0][a]) })
	return guards, free
}

func (w *World) sensorCell(b *bin) int {
	for i := range w.probes {
		if p := &w.probes[i]; p.bin == b && p.Measures.IsLight() {
			return p.cell
		}
	}
	return -1
}

// stock is what the grower brought, in shuffled pools by what distinguishes it.
func (w *World) stock(rng *rand.Rand) map[string][]Plant {
	pools := map[string][]Plant{}
	add := func(pool, code, species, cultivar, mother string, n, mothers int, typical float64) {
		for i := 1; i <= n; i++ {
			p := Plant{Code: fmt.Sprintf(code, i), Species: species, Cultivar: cultivar}
			if typical > 0 {
				p.StartG = round(typical*math.Exp(startSDLog*rng.NormFloat64()), 0.01)
				p.Mother = fmt.Sprintf(mother, 1+(i-1)*mothers/n)
			}
			pools[pool] = append(pools[pool], p)
		}
	}
	add("A", "SA%02d", streptocarpus, "A", "leaf A%d", 72, 9, startStrep)
	add("B", "SB%02d", streptocarpus, "B", "leaf B%d", 72, 9, startStrep)
	add(peperomia, "P%03d", peperomia, "variegated", "plant %d", 144, 12, startPep)
	add(marsilea, "M%02d", marsilea, "wild", "mat %d", plantsWater, 4, startWater)
	for _, name := range []string{"A", "B", peperomia, marsilea} {
		shuffle(rng, pools[name])
	}
	add("guard", "G%02d", streptocarpus, "A", "", 6*guardsBin, 1, 0)
	return pools
}

func shuffle[T any](rng *rand.Rand, s []T) {
	rng.Shuffle(len(s), func(i, j int) { s[i], s[j] = s[j], s[i] })
}

func compare(a, b float64) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}
