package claimsworlds

import "math"

// nullYesNo: rot and rooting.
func nullYesNo() []World {
	four := idle("medium", "peat", "coir", "bark", "perlite")
	return []World{
		yesNoRare("yes-no-rare", "Rot is rare (3 %); four media, none does anything.", 0.03, four),
		yesNoRare("yes-no-zero-level-by-chance", "Rot at 6 %: in most tables some medium has no rot by chance.", 0.06, four),
		yesNoRare("yes-no-nearly-all", "Nearly all root (96 %); a medium often has no failure by chance.", 0.96, four),
		yesNoLight(),
		yesNoBins(),
	}
}

func yesNoRare(name, trouble string, rate float64, f factor) World {
	return World{
		Name: name, Trouble: trouble,
		Attacks: "rare events are neither over-claimed nor given intervals that exclude the truth",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("rot", LogOdds, []factor{f}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 5, rows: 4, cols: 5, shelves: 1, lampCV: 0.08})
			b.dealPlants(f)
			b.yesNo("rot", logit(rate))
			return b.trial()
		},
	}
}

// yesNoLight: the dim bins are the wet ones, which rot; light does nothing.
func yesNoLight() World {
	return World{
		Name:    "yes-no-light-over-unequal-bins",
		Trouble: "Dim bins are the wet ones and rot more; within a bin light does nothing to rot.",
		Attacks: "the light slope on events is taken within bins",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("rot", LogOdds, []factor{idleMedium}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 10, rows: 3, cols: 4, shelves: 2})
			own := b.unequalBins(1)
			b.scaleLight(func(i int) float64 { return math.Exp(-0.2 * own[b.bin[i]]) })
			b.dealPlants(idleMedium)
			b.yesNo("rot", logit(0.3))
			return b.trial()
		},
	}
}

func yesNoBins() World {
	return World{
		Name:    "yes-no-unequal-bins",
		Trouble: "Rot runs through a bin or spares it (log odds sd 1.2 between bins); covers dealt to whole bins do nothing.",
		Attacks: "bins are the unit for events too",
		Null:    true, Blame: MustHold,
		Truth: usualTruth("rot", LogOdds, []factor{idleMedium}, []factor{idleCover}, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			b.dealBins(idleCover)
			b.unequalBins(1.2)
			b.yesNo("rot", logit(0.3))
			return b.trial()
		},
	}
}
