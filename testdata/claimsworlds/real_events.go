package claimsworlds

import "math"

// realEvents: counts and events that truly differ.
func realEvents() []World {
	return []World{
		realCount("real-counts-clumped", "Gel gives 60 % more plantlets; plantlets come in clumps and bins differ.", 5, math.Log(1.6),
			func(b *bench, mean float64) float64 { return b.clumped(mean, 3) }),
		realCount("real-counts-regular", "Gel gives 20 % more leaves; leaves are nearly fixed in number.", 8, math.Log(1.2),
			func(b *bench, mean float64) float64 { return b.regular(mean, 24) }),
		realYesNo(), realYesNoLight(), realYesNoBinLevel(),
	}
}

func realCount(name, trouble string, base, effect float64, draw func(*bench, float64) float64) World {
	f := active("hormone", []float64{0, effect, 0}, threeHormones...)
	return World{
		Name: name, Trouble: trouble,
		Attacks: "ratios of counts are right in size and their intervals neither too narrow nor too wide",
		Null:    false, Blame: MustHold,
		Truth: usualTruth("leaves", LogRatio, []factor{f}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(f)
			b.act(f)
			b.unequalBins(0.1)
			b.count("leaves", base, func(_ int, mean float64) float64 { return draw(b, mean) })
			return b.trial()
		},
	}
}

// marginalNote tells the two odds ratios of clustered events apart.
const marginalNote = "of rates averaged over bins; nearer to 0 than the odds ratio within a bin"

func realYesNo() World {
	const sd = 1.0 // bins and shelves together, see unequalBins
	f := active("hormone", []float64{0, 1.2, 0.4}, threeHormones...)
	base := logit(0.3)
	average := f
	average.effects = make([]float64, 3)
	for k, e := range f.effects {
		average.effects[k] = marginalLogOdds(base+e, sd)
	}
	t := usualTruth("rooted", LogOdds, []factor{f}, nil, 0)
	t = append(t, pairs("rooted", LogOdds, average).as(AlsoRight, marginalNote)...)
	return World{
		Name:    "real-yes-no-bins",
		Trouble: "Gel truly helps rooting (log odds 1.2 within a bin); bins differ greatly.",
		Attacks: "the odds ratio says whether it is within bins or over bins",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 10, rows: 3, cols: 4, shelves: 2, lampCV: 0.08})
			b.dealPlants(f)
			b.act(f)
			b.unequalBins(sd / math.Sqrt(1.25)) // shelves add a quarter to the variance
			b.yesNo("rooted", base)
			return b.trial()
		},
	}
}

func realYesNoLight() World {
	return World{
		Name:    "real-yes-no-light",
		Trouble: "Within a bin, dim places rot more (log odds −0.02 a unit); bright bins are the wet ones, which hides it.",
		Attacks: "the light slope on events is found within bins, against the bins",
		Null:    false, Blame: MustHold,
		Truth: usualTruth("rot", LogOdds, []factor{idleMedium}, nil, -0.02),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 12, rows: 3, cols: 5, shelves: 3, placeCV: 0.2})
			own := b.unequalBins(1)
			b.scaleLight(func(i int) float64 { return math.Exp(0.15 * own[b.bin[i]]) })
			b.dealPlants(idleMedium)
			b.addSlope(-0.02)
			b.yesNo("rot", logit(0.35))
			return b.trial()
		},
	}
}

func realYesNoBinLevel() World {
	const sd, base, effect = 0.6, -1.5, 1.8
	f := active("cover", []float64{0, effect}, "open", "lid")
	average := active("cover", []float64{marginalLogOdds(base, sd), marginalLogOdds(base+effect, sd)}, "open", "lid")
	t := usualTruth("rot", LogOdds, []factor{idleMedium}, []factor{f}, 0)
	t = t.with(func(e *Estimand) {
		if e.Factor == "cover" {
			e.Held = []string{"bin", "light", "medium"}
			e.Note = "one and the same bin, if it were lidded or open"
		}
	})
	t = append(t, pairs("rot", LogOdds, average).as(AlsoRight, marginalNote)...)
	return World{
		Name:    "real-yes-no-lid",
		Trouble: "Lids over whole bins truly bring rot (18 % to 57 % in a middling bin).",
		Attacks: "events by whole bins: found, with bins as the unit",
		Null:    false, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 12, rows: 3, cols: 4, shelves: 3, lampCV: 0.08})
			b.dealPlants(idleMedium)
			b.dealBins(f)
			b.act(f)
			b.unequalBins(sd / math.Sqrt(1.25))
			b.yesNo("rot", base)
			return b.trial()
		},
	}
}
