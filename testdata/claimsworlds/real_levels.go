package claimsworlds

import "math"

// realLevels: treatments that hang on each other, and levels truly at zero.
func realLevels() []World {
	return []World{
		crossing("real-crossing-treatments", "Full feed helps in coir (+35 %) and harms in peat (−26 %): neither medium nor feed does anything on average.",
			[][]float64{{0.15, -0.15}, {-0.15, 0.15}}),
		crossing("real-one-good-pair", "Only full feed in coir gives 50 % more; every other pair is alike.",
			[][]float64{{0, 0}, {0, math.Log(1.5)}}),
		zeroCount(),
		zeroEvent(),
	}
}

// crossing: cell[m][f] is what medium m with feed f adds.
func crossing(name, trouble string, cell [][]float64) World {
	medium := active("medium", []float64{(cell[0][0] + cell[0][1]) / 2, (cell[1][0] + cell[1][1]) / 2}, "peat", "coir")
	feed := active("feed", []float64{(cell[0][0] + cell[1][0]) / 2, (cell[0][1] + cell[1][1]) / 2}, "weak", "full")
	mean := "mean over the other treatment's levels, equally weighted"
	t := pairs("mass", LogRatio, medium, "bin", "light", "feed").as(Judge, mean)
	t = append(t, pairs("mass", LogRatio, feed, "bin", "light", "medium").as(Judge, mean)...)
	for k, level := range medium.levels {
		in := active("feed", cell[k], feed.levels...)
		t = append(t, pairs("mass", LogRatio, in, "bin", "light").with(func(e *Estimand) {
			e.WhereColumn, e.WhereLevel = "medium", level
		})...)
	}
	twist := cell[1][1] - cell[1][0] - cell[0][1] + cell[0][0]
	t = append(t, pairs("mass", LogRatio, active("feed", []float64{0, twist}, feed.levels...), "bin", "light").with(func(e *Estimand) {
		e.By, e.ByFrom, e.ByTo = "medium", "peat", "coir"
	})...)
	t = append(t, slope("mass", LogRatio, "light", 0, "bin", "medium", "feed")...)
	return World{
		Name: name, Trouble: trouble, Attacks: "interactions: a mean over levels is not sold as true of each",
		Null: false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealCrossed(medium, feed)
			b.add(func(i int) float64 { return cell[b.is(medium, i)][b.is(feed, i)] })
			b.unequalBins(0.1)
			b.mass()
			b.roles.Interactions = [][2]string{{"medium", "feed"}}
			return b.trial()
		},
	}
}

var threeHormones = []string{"none", "gel", "powder"}

func zeroCount() World {
	f := active("hormone", []float64{math.Inf(-1), 0, 0}, threeHormones...)
	t := pairs("plantlets", LogRatio, f, "bin", "light").with(zeroNote)
	t = append(t, slope("plantlets", LogRatio, "light", 0, "bin", "hormone").as(Judge, "among levels that form any")...)
	return World{
		Name:    "real-zero-level-counts",
		Trouble: "Without hormone no plantlet ever forms; gel and powder give 3 a plant.",
		Attacks: "a level truly at zero is claimed lower, with an honest one-sided interval and no invented ratio",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 3, cols: 4, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.act(f)
			b.unequalBins(0.2)
			b.count("plantlets", 3, func(_ int, mean float64) float64 {
				if mean == 0 {
					return 0
				}
				return b.clumped(mean, 4)
			})
			return b.trial()
		},
	}
}

func zeroEvent() World {
	f := active("hormone", []float64{math.Inf(-1), 0, 1}, threeHormones...)
	t := pairs("rooted", LogOdds, f, "bin", "light").with(zeroNote)
	t = append(t, slope("rooted", LogOdds, "light", 0, "bin", "hormone").as(Judge, "among levels that root at all")...)
	return World{
		Name:    "real-zero-level-yes-no",
		Trouble: "Without hormone no cutting ever roots; with gel 30 % do, with powder more.",
		Attacks: "complete separation: a true zero is claimed, the other pair is still judged well",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 3, cols: 5, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.unequalBins(0.5)
			b.act(f)
			b.yesNo("rooted", logit(0.3))
			return b.trial()
		},
	}
}

func zeroNote(e *Estimand) {
	if math.IsInf(e.Value, 0) {
		e.Note = "one level never has an event; an interval is right if it is open on that side"
	}
}
