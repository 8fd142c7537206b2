package claimsworlds

import "fmt"

// nullBins: bins differ by themselves, and there are few of them.
func nullBins() []World {
	var out []World
	for _, sd := range []float64{0.1, 0.3, 0.5} {
		out = append(out, unequalBinsWorld(sd))
	}
	return append(out,
		fewBins("few-bins-2-a-level", "Three covers, two bins each: 3 residual degrees of freedom between bins.",
			plan{bins: 6, rows: 3, cols: 4, shelves: 1, lampCV: 0.08}, idle("cover", "open", "lid", "mesh")),
		fewBins("few-bins-2-a-level-2-shelves", "Three covers, one bin of each on two shelves: 2 degrees of freedom are left, 1 once the bin's light is held too.",
			plan{bins: 6, rows: 3, cols: 4, shelves: 2, lampCV: 0.08}, idle("cover", "open", "lid", "mesh")),
		fewBins("few-bins-1-df", "Three bins, two covers: 1 residual degree of freedom between bins.",
			plan{bins: 3, rows: 5, cols: 6, shelves: 1, lampCV: 0.08}, idleCover),
		noSpareBins())
}

func unequalBinsWorld(sd float64) World {
	return World{
		Name:    fmt.Sprintf("unequal-bins-%g", sd),
		Trouble: fmt.Sprintf("Bins grow differently by themselves (sd %g of the log); a cover is dealt to whole bins, medium and feed to plants.", sd),
		Attacks: "bins are the unit of whatever is dealt to bins",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, []factor{idleMedium, idleFeed}, []factor{idleCover}, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealCrossed(idleMedium, idleFeed)
			b.dealBins(idleCover)
			b.unequalBins(sd)
			b.mass()
			return b.trial()
		},
	}
}

func fewBins(name, trouble string, p plan, cover factor) World {
	return World{
		Name: name, Trouble: trouble + " Bins differ by sd 0.3 of the log.",
		Attacks: "small degrees of freedom are honoured, not replaced by the number of plants",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, []factor{idleFeed}, []factor{cover}, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, p)
			b.dealPlants(idleFeed)
			b.dealBins(cover)
			b.unequalBins(0.3)
			b.mass()
			return b.trial()
		},
	}
}

func noSpareBins() World {
	t := usualTruth("mass", LogRatio, []factor{idleFeed}, []factor{idleCover}, 0)
	return World{
		Name:    "few-bins-0-df",
		Trouble: "Two bins, one open, one under a lid: bin and cover are one and the same.",
		Attacks: "no claim, no finite interval where no residual is left",
		Null:    true, Blame: MustAdmit,
		Truth: t.with(func(e *Estimand) {
			if e.Factor == "cover" {
				e.Note = "true, but the table cannot speak of it: no bin is repeated"
			}
		}),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 2, rows: 5, cols: 7, shelves: 1, lampCV: 0.08})
			b.dealPlants(idleFeed)
			b.dealBins(idleCover)
			b.unequalBins(0.3)
			b.mass()
			return b.trial()
		},
	}
}
