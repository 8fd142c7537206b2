package claimsworlds

import "math"

// realStock: species and mothers that truly differ.
func realStock() []World {
	return []World{speciesDiffer(), speciesOppose(), lateCovariate()}
}

func speciesDiffer() World {
	f := active("medium", []float64{0, math.Log(1.3), 0}, "peat", "coir", "bark")
	same := [][]float64{f.effects, f.effects, f.effects}
	w := speciesWorld("real-species-alike", "Coir gives 30 % more in each of three species of very different mass and roughness.", f, same)
	w.Attacks = "a difference common to all species is found, not drowned by the rough one"
	return w
}

// speciesOppose: one species likes coir, one hates it, one does not care.
func speciesOppose() World {
	change := [][]float64{{0, math.Log(1.5), 0}, {0, 0, 0}, {0, -math.Log(1.5), 0}}
	f := idle("medium", "peat", "coir", "bark")
	w := speciesWorld("real-species-oppose", "Coir gives species A 50 % more and takes as much from C; B does not care.", f, change)
	w.Attacks = "a mean over species is not sold as true of each"
	w.Truth = w.Truth.with(func(e *Estimand) { e.Note = "mean over the three species, equally weighted" })
	for s, name := range threeSpecies {
		in := active("medium", change[s], f.levels...)
		w.Truth = append(w.Truth, pairs("mass", LogRatio, in, "bin", "light").with(func(e *Estimand) {
			e.WhereColumn, e.WhereLevel = "species", name
		})...)
	}
	return w
}

// lateCovariate: the "covariate" was taken after the treatment had worked.
func lateCovariate() World {
	f := active("medium", []float64{0, 0.30, 0}, "peat", "coir", "bark")
	direct := active("medium", []float64{0, 0.06, 0}, f.levels...)
	t := usualTruth("mass", LogRatio, []factor{f}, nil, 0)
	rest := pairs("mass", LogRatio, direct, "bin", "log_week2").as(AlsoRight, "beside what week 2 already shows; only if said so")
	return World{
		Name:    "real-late-covariate",
		Trouble: "The mass of week 2 was named as a covariate, but coir had worked by then: holding it hides four fifths of coir's +35 %.",
		Attacks: "a covariate that differs by treatment brings a caution",
		Null:    false, Blame: MustAdmit, Truth: append(t, rest...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(f)
			week2 := make([]float64, b.n)
			noise := b.normals(b.n, 0.15)
			for i := range week2 {
				week2[i] = math.Log(9) + 0.24*float64(b.is(f, i)%2) + noise[i]
			}
			b.covariate("log_week2", week2)
			b.act(direct)
			b.add(func(i int) float64 { return week2[i] - math.Log(9) })
			b.unequalBins(0.1)
			b.measure("mass", math.Log(40), true, b.normal(0.12))
			return b.trial()
		},
	}
}
