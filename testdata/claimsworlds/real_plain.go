package claimsworlds

import (
	"math"
	"slices"
)

// realPlain: planted differences on an orderly bench.
func realPlain() []World {
	drop := active("medium", []float64{0, math.Log(0.84), 0}, "peat", "coir", "bark")
	rise := active("feed", []float64{0, math.Log(1.40)}, "weak", "full")
	lid := active("cover", []float64{0, math.Log(1.25)}, "open", "lid")
	spread := active("medium", []float64{0, 0, math.Log(0.75), math.Log(0.75)}, "peat", "coir", "bark", "perlite")
	spread.weights = []int{4, 3, 2, 2}
	wide := spreadWorld("real-unequal-spread", "Bark and perlite truly take a quarter off; perlite is also three times rougher and has few plants.", true, spread, nil)
	wide.Null, wide.Attacks = false, "a rough medium neither hides the sure difference nor borrows its sureness"
	wide.Deal = func(seed uint64) Trial {
		b := lay(seed, plan{bins: 6, rows: 4, cols: 5, shelves: 2, lampCV: 0.08})
		b.dealPlants(spread)
		b.act(spread)
		b.unequalBins(0.15)
		draw := oneThird(spread, 0.15)
		b.measure("mass", math.Log(40), true, func(i int) float64 { return draw(b, i) })
		return b.trial()
	}
	return []World{
		plainWorld("real-minus-16", "Coir truly costs 16 % of the mass; feed does nothing.", []factor{drop, idleFeed}, nil, 0),
		plainWorld("real-plus-40", "Full feed truly gives 40 % more; medium does nothing.", []factor{idleMedium, rise}, nil, 0),
		plainWorld("real-lid-plus-25", "Lids on whole bins truly give 25 % more.", []factor{idleMedium}, []factor{lid}, 0),
		plainWorld("real-light-slope", "Light truly helps within bins; nothing else does.", []factor{idleMedium}, []factor{idleCover}, usualSlope),
		naturalWorld(),
		wide,
	}
}

func plainWorld(name, trouble string, plants, bins []factor, lightSlope float64) World {
	return World{
		Name: name, Trouble: trouble, Attacks: "true differences are found, with intervals that hold them",
		Null: false, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, plants, bins, lightSlope),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			for _, f := range plants {
				b.dealPlants(f)
				b.act(f)
			}
			for _, f := range bins {
				b.dealBins(f)
				b.act(f)
			}
			b.addSlope(lightSlope)
			b.unequalBins(0.1)
			b.mass()
			return b.trial()
		},
	}
}

// naturalWorld: mass in grams as it is, with the starting mass beside it.
func naturalWorld() World {
	f := active("medium", []float64{0, 6, -4}, "peat", "coir", "bark")
	t := usualTruth("mass", Difference, []factor{f}, nil, 0.05).with(func(e *Estimand) {
		e.Held = append(slices.Clip(e.Held), "start")
	})
	t = append(t, slope("mass", Difference, "start", 3, "bin", "light", "medium")...)
	return World{
		Name:    "real-natural-scale-start",
		Trouble: "On the scale of grams coir gives 6 g, bark takes 4 g, each gram of the starter gives 3 g.",
		Attacks: "differences on the natural scale are stated in its unit, at equal start",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(f)
			b.act(f)
			start := make([]float64, b.n)
			for i := range start {
				start[i] = 8 + 2*b.NormFloat64()
			}
			b.covariate("start", start)
			b.add(func(i int) float64 { return 3 * (start[i] - 8) })
			b.addSlope(0.05)
			b.unequalBins(4)
			b.measure("mass", 60, false, b.normal(7))
			return b.trial()
		},
	}
}
