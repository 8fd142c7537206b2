package claimsworlds

import "math"

// nullFamily: many questions at once.
func nullFamily() []World {
	return []World{manyLevels(), manyOutcomes(), covariatesWorld("twenty-idle-covariates",
		"Twenty things were noted of each cutting; none matters, and no medium does anything.", nil)}
}

func manyLevels() World {
	f := idle("medium")
	for k := range 12 {
		f.levels = append(f.levels, "mix "+string(rune('a'+k)))
		f.effects = append(f.effects, 0)
	}
	return World{
		Name:    "many-levels",
		Trouble: "Twelve mixes, six plants each: 66 pairs, the best and the worst look far apart.",
		Attacks: "the family of pairs is held over",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, []factor{f}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 3, cols: 4, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}

// manyOutcomes: a mass, a height, leaves and rot, all asked of everything.
func manyOutcomes() World {
	plants, bins := []factor{idleMedium, idleFeed}, []factor{idleCover}
	t := usualTruth("mass", LogRatio, plants, bins, 0)
	t = append(t, usualTruth("height", Difference, plants, bins, 0)...)
	t = append(t, usualTruth("leaves", LogRatio, plants, bins, 0)...)
	t = append(t, usualTruth("rot", LogOdds, plants, bins, 0)...)
	return World{
		Name:    "many-outcomes",
		Trouble: "Four outcomes of the same plants (big ones are tall and leafy), three treatments, light: nothing does anything.",
		Attacks: "the family over all outcomes is held, though outcomes go together",
		Null:    true, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealCrossed(idleMedium, idleFeed)
			b.dealBins(idleCover)
			vigour := b.normals(b.n, 1)
			b.unequalBins(0.2)
			b.measure("mass", math.Log(40), true, func(i int) float64 { return 0.2*vigour[i] + 0.1*b.NormFloat64() })
			b.clear()
			b.unequalBins(1.5)
			b.measure("height", 30, false, func(i int) float64 { return 3*vigour[i] + b.NormFloat64() })
			b.clear()
			b.unequalBins(0.15)
			b.disturb(func(i int) float64 { return 0.15 * vigour[i] })
			b.count("leaves", 8, func(_ int, mean float64) float64 { return b.poisson(mean) })
			b.clear()
			b.unequalBins(0.6)
			b.disturb(func(i int) float64 { return -0.5 * vigour[i] })
			b.yesNo("rot", logit(0.2))
			return b.trial()
		},
	}
}

// covariatesWorld: twenty covariates, of which the first few have slopes.
func covariatesWorld(name, trouble string, slopes []float64) World {
	const many = 20
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, 0)
	for k := range many {
		value := 0.0
		if k < len(slopes) {
			value = slopes[k]
		}
		t = append(t, slope("mass", LogRatio, covariateName(k), value, "bin")...)
	}
	return World{
		Name: name, Trouble: trouble, Attacks: "leads keep their false discovery rate; covariates do not spoil claims",
		Null: true, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			for k := range many {
				x := b.normals(b.n, 1)
				b.covariate(covariateName(k), x)
				if k < len(slopes) {
					b.add(func(i int) float64 { return slopes[k] * x[i] })
				}
			}
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}
