package claimsworlds

// nullCounts: leaves and plantlets that are not Poisson.
func nullCounts() []World {
	m := idleMedium
	return []World{
		countWorld("counts-clumped", "Plantlets come in clumps (variance 3 times the mean).", 6, m,
			func(b *bench, _ int, mean float64) float64 { return b.clumped(mean, 3) }),
		countWorld("counts-regular", "Leaves are nearly fixed in number (variance a quarter of the mean).", 9, m,
			func(b *bench, _ int, mean float64) float64 { return b.regular(mean, 12) }),
		countWorld("counts-clumped-unequally", "Plantlets clump by medium: variance 1.6, 1.6 and 7 times the mean; means equal.", 6, m,
			func(b *bench, i int, mean float64) float64 {
				return b.clumped(mean, []float64{10, 10, 1}[b.is(m, i)])
			}),
		countBinsWorld(),
		zeroByChance(),
		manyZeros(),
	}
}

func countWorld(name, trouble string, base float64, f factor, draw func(*bench, int, float64) float64) World {
	return World{
		Name: name, Trouble: trouble + " No medium does anything.",
		Attacks: "count claims keep their error whatever the spread of the counts",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("leaves", LogRatio, []factor{f}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 4, cols: 4, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.count("leaves", base, func(i int, mean float64) float64 { return draw(b, i, mean) })
			return b.trial()
		},
	}
}

func countBinsWorld() World {
	return World{
		Name:    "counts-unequal-bins",
		Trouble: "Plantlet counts differ from bin to bin (sd 0.35 of the log); covers dealt to whole bins do nothing.",
		Attacks: "bins are the unit for counts too",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("plantlets", LogRatio, []factor{idleMedium}, []factor{idleCover}, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			b.dealBins(idleCover)
			b.unequalBins(0.35)
			b.count("plantlets", 5, func(_ int, mean float64) float64 { return b.poisson(mean) })
			return b.trial()
		},
	}
}

// zeroByChance must not be thinned to tables that do hold a zero level:
// choosing tables by their outcome would break every promised error rate.
func zeroByChance() World {
	f := idle("medium", "peat", "coir", "bark", "perlite")
	w := countWorld("counts-zero-level-by-chance", "Plantlets are rare (0.1 a plant), so most tables hold a medium without any, by chance alone.", 0.1, f,
		func(b *bench, _ int, mean float64) float64 { return b.poisson(mean) })
	w.Attacks = "a level without any event is not claimed lower on that ground alone"
	w.Deal = func(seed uint64) Trial {
		b := lay(seed, plan{bins: 5, rows: 3, cols: 4, shelves: 1, lampCV: 0.08})
		b.dealPlants(f)
		b.count("leaves", 0.1, func(_ int, mean float64) float64 { return b.poisson(mean) })
		return b.trial()
	}
	return w
}

func manyZeros() World {
	return countWorld("counts-mostly-zero", "Half the plants never form plantlets, the others many: far more zeros than any smooth count.", 3, idleMedium,
		func(b *bench, _ int, mean float64) float64 {
			if b.Float64() < 0.5 {
				return 0
			}
			return b.clumped(2*mean, 4)
		})
}
