package claimsworlds

import "math"

// realFamily: few true things among many questions.
func realFamily() []World {
	leads := covariatesWorld("real-three-covariates-of-twenty",
		"Three of twenty things noted of each cutting truly matter (slopes 0.10, −0.08, 0.06 a unit); media do nothing.",
		[]float64{0.10, -0.08, 0.06})
	leads.Attacks = "leads find some of the three and keep their false discovery rate"
	return []World{leads, oneOfTwelve()}
}

func oneOfTwelve() World {
	f := factor{name: "medium"}
	for k := range 12 {
		f.levels = append(f.levels, "mix "+string(rune('a'+k)))
		f.effects = append(f.effects, 0)
	}
	f.effects[6] = math.Log(1.8)
	return World{
		Name:    "real-one-of-twelve",
		Trouble: "Of twelve mixes, six plants each, one truly gives 80 % more.",
		Attacks: "the one true level is found in a large family, the 55 idle pairs are not",
		Null:    false, Blame: MustHold,
		Truth: usualTruth("mass", LogRatio, []factor{f}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 3, cols: 4, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.act(f)
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}
