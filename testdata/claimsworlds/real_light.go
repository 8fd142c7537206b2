package claimsworlds

// realLight: treatments that work through light, or turn with it.
func realLight() []World {
	return []World{
		mediatorWorld("mediator-declared", true),
		mediatorWorld("mediator-not-declared", false),
		mediatorPlusOwn(),
		slopeAgainstBins(),
		oppositeSlopes(),
		dullMeter(),
	}
}

var lampLevels = []string{"dim", "middle", "bright"}

// mediatorWorld: the lamp level acts through the light it gives, only so.
func mediatorWorld(name string, declared bool) World {
	total := active("lamp", []float64{-70 * usualSlope, 0, 70 * usualSlope}, lampLevels...)
	direct := idle("lamp", lampLevels...)
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, usualSlope)
	t = append(t, pairs("mass", LogRatio, total).as(Judge, "whole effect of the lamp, by its light")...)
	t = append(t, pairs("mass", LogRatio, direct, "light").as(AlsoRight, "what the lamp does beside its light: nothing")...)
	w := World{
		Name:    name,
		Trouble: "Lamps were set to 130, 200 and 270; the lamp works through light and not otherwise.",
		Attacks: "a treatment that works through light is not explained away by holding light",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			return lampTrial(seed, direct, declared)
		},
	}
	if !declared {
		w.Blame = MustAdmit
		w.Trouble += " The user did not say so; the table looks like lamps-over-levels-slope."
		w.Attacks = "where light differs between levels the claim says whether light was held"
	}
	return w
}

func lampTrial(seed uint64, own factor, declared bool) Trial {
	b := lay(seed, plan{bins: 9, rows: 3, cols: 4, shelves: 3, lampCV: 0.03})
	b.dealPlants(idleMedium)
	b.dealBins(own)
	b.scaleLight(func(i int) float64 { return []float64{0.65, 1, 1.35}[b.is(own, i)] })
	b.addSlope(usualSlope)
	b.act(own)
	b.unequalBins(0.08)
	b.mass()
	if declared {
		b.roles.ThroughLight = []string{own.name}
	}
	return b.trial()
}

// mediatorPlusOwn: the bright lamp is hot as well, which takes away again.
func mediatorPlusOwn() World {
	own := active("lamp", []float64{0, -0.10, -0.25}, lampLevels...)
	total := active("lamp", []float64{-70 * usualSlope, -0.10, -0.25 + 70*usualSlope}, lampLevels...)
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, usualSlope)
	t = append(t, pairs("mass", LogRatio, total).as(Judge, "whole effect of the lamp, light and heat")...)
	t = append(t, pairs("mass", LogRatio, own, "light").as(AlsoRight, "heat alone, at equal light")...)
	return World{
		Name:    "mediator-with-own-effect",
		Trouble: "Brighter lamps give more light and more heat; heat takes about what light gives. Declared to act through light.",
		Attacks: "whole effect and effect at equal light are not mixed up",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial { return lampTrial(seed, own, true) },
	}
}

// slopeAgainstBins: light helps, but the bright bins stand in the draught.
func slopeAgainstBins() World {
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, usualSlope)
	between := slope("mass", LogRatio, "light", 0).undefined("between bins: the reverse").as(Tempting, "between bins the slope is turned round by the draught")
	return World{
		Name:    "real-slope-against-bins",
		Trouble: "Within a bin light helps; but the bright bins stand in the draught and are the poorer ones.",
		Attacks: "the light slope is the one within bins, not the reverse one between them",
		Null:    false, Blame: MustHold, Truth: append(t, between...),
		Deal: func(seed uint64) Trial {
			p := usual
			p.lampCV = 0
			b := lay(seed, p)
			tilt := b.normals(b.bins, 0.2)
			b.scaleLight(func(i int) float64 { return 1 + tilt[b.bin[i]] })
			b.disturb(func(i int) float64 { return -1.2 * tilt[b.bin[i]] })
			b.unequalBins(0.05)
			b.dealPlants(idleMedium)
			b.addSlope(usualSlope)
			b.mass()
			return b.trial()
		},
	}
}

// oppositeSlopes: coir likes light, peat suffers from it.
func oppositeSlopes() World {
	medium := idle("medium", "peat", "coir")
	slopes := []float64{-0.0025, 0.0025}
	t := pairs("mass", LogRatio, medium, "bin", "light×medium").with(func(e *Estimand) {
		e.AtLight, e.Note = meanLight, "at light 200 only; elsewhere 0.005·(light−200)"
	})
	for k, level := range medium.levels {
		t = append(t, slope("mass", LogRatio, "light", slopes[k], "bin").with(func(e *Estimand) {
			e.WhereColumn, e.WhereLevel = "medium", level
		})...)
	}
	t = append(t, slope("mass", LogRatio, "light", slopes[1]-slopes[0], "bin").with(func(e *Estimand) {
		e.By, e.ByFrom, e.ByTo = "medium", "peat", "coir"
	})...)
	t = append(t, slope("mass", LogRatio, "light", 0, "bin", "medium").as(AlsoRight, "mean of the two slopes; no plant has it")...)
	return World{
		Name:    "real-opposite-slopes",
		Trouble: "In coir plants thrive with light, in peat they suffer; at middling light the media are equal.",
		Attacks: "one slope for all, or 'no effect of medium', is not the last word where slopes cross",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(medium)
			b.add(func(i int) float64 { return slopes[b.is(medium, i)] * (b.light[i] - meanLight) })
			b.unequalBins(0.1)
			b.mass()
			b.roles.Interactions = [][2]string{{"light", "medium"}}
			return b.trial()
		},
	}
}

// dullMeter: the light column is not the light the plants had.
func dullMeter() World {
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, usualSlope).with(func(e *Estimand) {
		if e.IsSlope() {
			e.Note = "per unit of true light (hidden); the table's readings cannot show it"
		}
	})
	// Within bins true light has sd 36 or so; the reading adds sd 36.
	t[len(t)-1].Factor = "light_true"
	read := slope("mass", LogRatio, "light", 0).undefined("").as(AlsoRight,
		"per unit of reading: see Realised; about half the true slope")
	return World{
		Name:    "real-dull-meter",
		Trouble: "The light meter is poor: each reading is off by as much as places differ.",
		Attacks: "a slope on readings is not sold as the slope on light",
		Null:    false, Blame: CannotKnow, Truth: append(t, read...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			b.addSlope(usualSlope)
			b.hide("light_true", b.light)
			b.unequalBins(0.1)
			b.mass()
			read := make([]float64, b.n)
			for i := range read {
				read[i] = b.light[i] + 36*b.NormFloat64()
			}
			b.light = read
			b.realise("mass", LogRatio, AlsoRight)
			return b.trial()
		},
	}
}

// realise states the straight slope that the expectation has on the light
// column within these very bins, whatever its true shape.
func (b *bench) realise(outcome string, s Scale, standing Standing) {
	t := slope(outcome, s, "light", slopeWithinBins(b.light, b.eta, b.bin), "bin")
	b.realised = append(b.realised, t.as(standing, "least-squares line through the noiseless expectation of these plants, within bins")...)
}
