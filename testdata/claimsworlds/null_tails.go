package claimsworlds

import "math"

// nullTails: plants do not spread as the textbook wants.
func nullTails() []World {
	four := idle("medium", "peat", "coir", "bark", "perlite")
	uneven := four
	uneven.weights = []int{4, 3, 2, 1} // fewest where the spread is largest
	return []World{
		spreadWorld("heavy-tails-t3", "Plants spread as t with 3 degrees of freedom (scale 0.15 of the log).", true, four,
			func(b *bench, _ int) float64 { return 0.15 * b.t3() }),
		spreadWorld("heavy-tails-t3-natural", "Mass on its own scale, plants spread as t with 3 degrees of freedom (scale 6 g).", false, four,
			func(b *bench, _ int) float64 { return 6 * b.t3() }),
		spreadWorld("contaminated", "One plant in twenty is misweighed or stunted: sd 1.2 of the log instead of 0.15.", true, four,
			func(b *bench, _ int) float64 {
				if b.Float64() < 0.05 {
					return 1.2 * b.NormFloat64()
				}
				return 0.15 * b.NormFloat64()
			}),
		spreadWorld("one-sided-runts", "One plant in eight is a runt at 20 to 60 % of its mass, in every medium alike.", true, four,
			func(b *bench, _ int) float64 {
				if b.Float64() < 0.125 {
					return math.Log(0.2+0.4*b.Float64()) + 0.12*b.NormFloat64()
				}
				return 0.12 * b.NormFloat64()
			}),
		spreadWorld("unequal-spread", "Spread by medium 1:1:1:3 (sd 0.12, the last 0.36 of the log), equal numbers.", true, four, oneThird(four, 0.12)),
		spreadWorld("unequal-spread-unequal-n", "Spread by medium 1:1:1:3, and the widest has the fewest plants (4:3:2:1).", true, uneven, oneThird(uneven, 0.12)),
		spreadWorld("unequal-spread-natural", "Mass on its own scale, sd 5, 5, 5 and 15 g, widest medium with fewest plants.", false, uneven, oneThird(uneven, 5)),
	}
}

func oneThird(f factor, sd float64) func(*bench, int) float64 {
	return func(b *bench, i int) float64 {
		return []float64{sd, sd, sd, 3 * sd}[b.is(f, i)] * b.NormFloat64()
	}
}

func spreadWorld(name, trouble string, logged bool, f factor, noise func(*bench, int) float64) World {
	s, base, binSD := LogRatio, math.Log(40), 0.15
	if !logged {
		s, base, binSD = Difference, 70, 6
	}
	t := usualTruth("mass", s, []factor{f}, nil, 0)
	if logged {
		t = t.with(func(e *Estimand) {
			e.Note = "ratio of the means of the logs; arithmetic means may differ (or not exist under t)"
		})
	}
	return World{
		Name: name, Trouble: trouble + " No medium does anything.",
		Attacks: "pair claims keep their error without normal, equal spread",
		Null:    true, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 4, cols: 5, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.unequalBins(binSD)
			b.measure("mass", base, logged, func(i int) float64 { return noise(b, i) })
			return b.trial()
		},
	}
}
