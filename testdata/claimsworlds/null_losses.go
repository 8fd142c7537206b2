package claimsworlds

import "math"

// nullLosses: plants die unequally, mass itself is untouched by treatment.
func nullLosses() []World {
	medium := idle("medium", "peat", "coir", "bark")
	return []World{
		lossWorld("losses-by-treatment", "Plants die by medium (5, 20 and 40 %), whatever their size.",
			true, MustHold, medium, []float64{logit(0.05), logit(0.20), logit(0.40)}, 0),
		lossWorld("losses-by-treatment-and-size", "Small plants die, the more so in bark: survivors of bark look big, though no medium changes mass.",
			true, MustAdmit, medium, []float64{-4, -1.8, -0.4}, -1.5),
	}
}

// lossWorld: log odds of loss by level, and k per sd of the plant's own size.
func lossWorld(name, trouble string, null bool, blame Blame, f factor, odds []float64, k float64) World {
	const sd = 0.25
	survivors, loss := f, f
	survivors.effects, loss.effects = make([]float64, len(odds)), make([]float64, len(odds))
	for j, a := range odds {
		survivors.effects[j] = f.effects[j] + sd*survivorShift(a, k)
		loss.effects[j] = marginalLogOdds(a, math.Abs(k))
	}
	t := usualTruth("mass", LogRatio, []factor{f}, nil, 0)
	t = t.with(func(e *Estimand) {
		if k != 0 && !e.IsSlope() {
			e.Note = "had none died; survivors do not show it, so a claim needs a caution on losses"
		}
	})
	alive := pairs("mass", LogRatio, survivors, "bin").as(AlsoRight, "only if said of the survivors")
	alive = alive.with(func(e *Estimand) { e.On = AsWritten })
	died := pairs("lost", LogOdds, loss).as(Judge, "over all plants, whatever their size; losses are not null here")
	return World{
		Name: name, Trouble: trouble, Attacks: "unequal losses are shown; a claim on mass does not rest on who survived",
		Null: null, Blame: blame, Truth: append(append(t, alive...), died...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 8, rows: 4, cols: 5, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.act(f)
			b.unequalBins(0.15)
			size := b.normals(b.n, 1)
			b.measure("mass", math.Log(40), true, func(i int) float64 { return sd * size[i] })
			b.lose(func(i int) float64 { return odds[b.is(f, i)] + k*size[i] })
			return b.trial()
		},
	}
}
