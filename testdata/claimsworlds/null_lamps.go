package claimsworlds

import "math"

const usualSlope = 0.002 // of the log, per unit of light: 10 % brighter, 4 % more

// nullLamps: light and treatment get in each other's way.
func nullLamps() []World {
	return []World{
		lampsOverLevels("lamps-over-levels-no-slope", 0),
		lampsOverLevels("lamps-over-levels-slope", usualSlope),
		lampsByChance(),
		brightPlacesGiven(),
		levelIsLight(),
		binsLightAgainstSlope(),
	}
}

// lampsOverLevels: the stronger lamps happen to hang over the lids.
func lampsOverLevels(name string, slopeOfLight float64) World {
	shift := 60.0 // 230 against 170
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, []factor{idleCover}, slopeOfLight)
	if slopeOfLight != 0 {
		raw := idleCover
		raw.effects = []float64{0, slopeOfLight * shift}
		t = append(t, pairs("mass", LogRatio, raw).as(Tempting,
			"light not held: the lamp's doing, not the lid's")...)
	}
	return World{
		Name:    name,
		Trouble: "Lidded bins hang under stronger lamps (230 against 170); neither lid nor medium does anything.",
		Attacks: "a difference between levels of whole bins is not claimed when light explains it",
		Null:    true, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			b.dealBins(idleCover)
			b.scaleLight(func(i int) float64 { return []float64{0.85, 1.15}[b.is(idleCover, i)] })
			b.addSlope(slopeOfLight)
			b.unequalBins(0.1)
			b.mass()
			return b.trial()
		},
	}
}

func lampsByChance() World {
	return World{
		Name:    "lamps-unequal-by-chance",
		Trouble: "Lamps differ by CV 20 % from bin to bin, covers are dealt without regard to them; light truly helps.",
		Attacks: "level claims hold their error when lamps differ by chance",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, []factor{idleMedium}, []factor{idleCover}, usualSlope),
		Deal: func(seed uint64) Trial {
			p := usual
			p.lampCV = 0.2
			b := lay(seed, p)
			b.dealPlants(idleMedium)
			b.dealBins(idleCover)
			b.addSlope(usualSlope)
			b.unequalBins(0.1)
			b.mass()
			return b.trial()
		},
	}
}

// brightPlacesGiven: someone set the coir plants in the bright places.
func brightPlacesGiven() World {
	medium := idle("medium", "peat", "coir")
	t := usualTruth("mass", LogRatio, []factor{medium}, nil, usualSlope)
	raw := pairs("mass", LogRatio, medium).undefined("")
	return World{
		Name:    "bright-places-given",
		Trouble: "Coir plants were mostly set in the bright places by hand (not dealt); light truly helps, medium does nothing.",
		Attacks: "a plant treatment that is tangled with light is compared at equal light",
		Null:    true, Blame: MustHold,
		Truth: append(t, raw.as(Tempting, "light not held: above 0 by as much as coir stands brighter")...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			level := make([]int, b.n)
			for i := range level {
				level[i] = int(b.event(0.045 * (b.light[i] - meanLight)))
			}
			b.give(medium, level, false)
			b.addSlope(usualSlope)
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}

// levelIsLight: one reading a bin, and the level is the reading.
func levelIsLight() World {
	lamp := idle("lamp", "dim", "middle", "bright")
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, math.NaN())
	t = t.with(func(e *Estimand) {
		if e.Factor == "light" {
			e.Note = "light does not vary within bins"
		} else {
			e.Held = []string{"bin"}
		}
	})
	total := pairs("mass", LogRatio, lamp)
	direct := pairs("mass", LogRatio, lamp, "light").undefined("").as(AlsoRight, "level and light are one column")
	return World{
		Name:    "level-is-light",
		Trouble: "The light column holds one figure a lamp level (120, 200, 280): level and light cannot be told apart. Nothing has any effect.",
		Attacks: "columns that are one and the same are named so, nothing is claimed of either alone",
		Null:    true, Blame: MustAdmit,
		Truth: append(append(t, total...), direct...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 9, rows: 3, cols: 4, shelves: 3})
			b.dealPlants(idleMedium)
			b.dealBins(lamp)
			for i := range b.light {
				b.light[i] = []float64{120, 200, 280}[b.is(lamp, i)]
			}
			b.unequalBins(0.3)
			b.mass()
			return b.trial()
		},
	}
}

// binsLightAgainstSlope: dim bins are the warm ones, light itself does nothing.
func binsLightAgainstSlope() World {
	return World{
		Name:    "bright-bins-grow-better-no-slope",
		Trouble: "Bright bins stand in the warm corner and grow better for that; within a bin light does nothing.",
		Attacks: "the light slope is taken within bins, not between them",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, []factor{idleMedium}, nil, 0),
		Deal: func(seed uint64) Trial {
			p := usual
			p.lampCV = 0
			b := lay(seed, p)
			own := b.unequalBins(0.3)
			b.scaleLight(func(i int) float64 { return math.Exp(0.6 * own[b.bin[i]]) })
			b.dealPlants(idleMedium)
			b.mass()
			return b.trial()
		},
	}
}
