package demo

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"parstead/correlate/deal"
	"parstead/light"
)

// The plants of the trial.
const (
	Streptocarpus = "Streptocarpus"
	peperomia     = "Peperomia caperata"
	marsilea      = "Marsilea"
)

// media are the potting media that are dealt, in the order of the trial's levels;
// the first is the reference. The water plants root in waterMedium.
var media = []string{"coir", "pumice", "bark", "sphagnum"}

const waterMedium = "loam"

const (
	guardsBin   = 7
	startStrep  = 2.0 // g, typical of a leaf section
	startPep    = 3.2 // g, of a cutting
	startWater  = 1.1 // g, of a rooted runner
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

// deal makes the plants, puts them on positions and deals light levels to bins
// and media to plants by the layout's procedure. The pond is filled by hand:
// nothing there is compared.
func (w *World) deal() error {
	plants := w.stock(w.stream(streamPlants))
	plan := deal.Plan{Treatments: []deal.Treatment{
		{Name: "light_level", SetPer: deal.PerBin},
		{Name: "medium", SetPer: deal.PerPlant, Levels: media},
	}}
	for _, level := range lightLevels {
		if level.name != pond {
			plan.Treatments[0].Levels = append(plan.Treatments[0].Levels, level.name)
		}
	}
	for i := range w.places {
		b := &w.places[i]
		if b.Name == pond {
			b.level = pond
			continue
		}
		plan.Bins = append(plan.Bins, w.room(b))
	}
	var rack []int // the plan's plants
	cell := 0      // the next free of the pond
	for i := range plants {
		p := &plants[i]
		if p.Species == marsilea {
			p.Medium, p.LightLevel = waterMedium, pond
			p.Dealt = w.place(pond).at(cell)
			cell++
			continue
		}
		start := p.StartG
		if p.Guard() {
			start = math.NaN()
		}
		plan.Plants = append(plan.Plants, deal.Plant{
			Code: p.Code, Group: strings.TrimSpace(p.Species + " " + p.Cultivar), Start: start, Guard: p.Guard(),
		})
		rack = append(rack, i)
	}
	layout, err := deal.Lay(plan, w.Seed)
	if err != nil {
		return err
	}
	w.Dealt = layout.Record
	for k, i := range rack {
		p, at := &plants[i], layout.Places[k]
		p.Dealt = light.Position{Bin: at.Bin, Row: at.Row, Column: at.Column}
		p.LightLevel = plan.Treatments[0].Levels[layout.Labels[0][k]]
		w.place(at.Bin).level = p.LightLevel
		if !p.Guard() {
			p.Medium = media[layout.Labels[1][k]]
		}
	}
	w.Plants = w.inPlaces(plants)
	return nil
}

// room is a bin as the layout's procedure needs it: its light stands for the
// survey that the grower made before dealing.
func (w *World) room(b *bin) deal.Bin {
	room := deal.Bin{Name: b.Name, Block: b.Block, Reservoir: b.Reservoir}
	for cell, relative := range b.lightUnder(b.lamp) {
		at := b.at(cell)
		room.Cells = append(room.Cells, deal.Cell{
			Row: at.Row, Column: at.Column, Light: relative, Sensor: cell == w.sensorCell(b),
		})
	}
	return room
}

// inPlaces orders plants by bin, row and column.
func (w *World) inPlaces(plants []Plant) []Plant {
	order := map[string]int{}
	for i := range w.places {
		order[w.places[i].Name] = i
	}
	slices.SortFunc(plants, func(a, b Plant) int {
		return cmp.Or(
			cmp.Compare(order[a.Dealt.Bin], order[b.Dealt.Bin]),
			cmp.Compare(a.Dealt.Row, b.Dealt.Row),
			cmp.Compare(a.Dealt.Column, b.Dealt.Column),
		)
	})
	return plants
}

func (w *World) sensorCell(b *bin) int {
	for i := range w.probes {
		if p := &w.probes[i]; p.bin == b && p.Measures.IsLight() {
			return p.cell
		}
	}
	return -1
}

// stock is what the grower brought, in the order of its codes.
func (w *World) stock(rng *rand.Rand) []Plant {
	var plants []Plant
	add := func(code, species, cultivar, mother string, n, mothers int, typical float64) {
		for i := 1; i <= n; i++ {
			p := Plant{Code: fmt.Sprintf(code, i), Species: species, Cultivar: cultivar}
			if typical > 0 {
				p.StartG = round(typical*math.Exp(startSDLog*rng.NormFloat64()), 0.01)
				p.Mother = fmt.Sprintf(mother, 1+(i-1)*mothers/n)
			}
			plants = append(plants, p)
		}
	}
	add("SA%02d", Streptocarpus, "A", "leaf A%d", 72, 9, startStrep)
	add("SB%02d", Streptocarpus, "B", "leaf B%d", 72, 9, startStrep)
	add("P%03d", peperomia, "variegated", "plant %d", 144, 12, startPep)
	add("M%02d", marsilea, "wild", "mat %d", plantsWater, 4, startWater)
	add("G%02d", Streptocarpus, "A", "", 6*guardsBin, 1, 0)
	return plants
}
