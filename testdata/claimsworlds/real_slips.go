package claimsworlds

import "math"

// realSlips: slips of the pen.
func realSlips() []World {
	return []World{
		unitSlip("slip-times-ten", true), unitSlip("slip-times-ten-natural", false),
		tagsSwapped(), binsSwapped(),
	}
}

var slipMedium = active("medium", []float64{0, math.Log(1.25), 0}, "peat", "coir", "bark")

// unitSlip: one mass was written ten times too large.
func unitSlip(name string, logged bool) World {
	f, s := slipMedium, LogRatio
	if !logged {
		f = active("medium", []float64{0, 10, 0}, "peat", "coir", "bark")
		s = Difference
	}
	return World{
		Name:    name,
		Trouble: "One plant's mass was written ten times too large; coir truly gives a quarter more (10 g of 40).",
		Attacks: "one wild value is pointed out and does not make or break a claim",
		Null:    false, Blame: MustHold,
		Truth: usualTruth("mass", s, []factor{f}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(f)
			b.act(f)
			if logged {
				b.unequalBins(0.1)
				b.mass()
			} else {
				b.unequalBins(3)
				b.measure("mass", 40, false, b.normal(7))
			}
			// record kept the right values in mass_all; only the table errs.
			b.columns[len(b.columns)-1].Numbers[b.IntN(b.n)] *= 10
			return b.trial()
		},
	}
}

// tagsSwapped: a peat and a coir plant carry each other's tag.
func tagsSwapped() World {
	f := slipMedium
	written := f
	n := 32.0 // plants of each medium; one of them is of the other kind
	written.effects = []float64{f.effects[1] / n, f.effects[1] * (1 - 1/n), 0}
	t := usualTruth("mass", LogRatio, []factor{f}, nil, 0)
	raw := pairs("mass", LogRatio, written, "bin").as(AlsoRight, "what the labels as written show")
	return World{
		Name:    "slip-two-tags",
		Trouble: "A peat plant and a coir plant of one bin carry each other's label; coir truly gives 25 %.",
		Attacks: "two wrong labels of 96 do not overturn a claim",
		Null:    false, Blame: CannotKnow,
		Truth: append(t, raw.with(func(e *Estimand) { e.On = AsWritten })...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(f)
			b.act(f)
			b.unequalBins(0.1)
			b.mass()
			b.swap(f, func(i, j int) bool { return b.bin[i] == b.bin[j] })
			return b.trial()
		},
	}
}

// swap exchanges the labels of a first-level and a second-level plant.
func (b *bench) swap(f factor, fit func(i, j int) bool) {
	c := Find(b.columns, f.name)
	b.hidden = append(b.hidden, Column{Name: f.name + "_true", Labels: append([]string(nil), c.Labels...)})
	for {
		i, j := b.IntN(b.n), b.IntN(b.n)
		if b.is(f, i) == 0 && b.is(f, j) == 1 && fit(i, j) {
			c.Labels[i], c.Labels[j] = c.Labels[j], c.Labels[i]
			return
		}
	}
}

// binsSwapped: an open and a lidded bin changed places in the book.
func binsSwapped() World {
	f := active("cover", []float64{0, math.Log(1.4)}, "open", "lid")
	written := f
	written.effects = []float64{f.effects[1] / 4, f.effects[1] * 3 / 4}
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, []factor{f}, 0)
	raw := pairs("mass", LogRatio, written).as(AlsoRight, "what the labels as written show")
	return World{
		Name:    "slip-two-bins",
		Trouble: "An open and a lidded bin were exchanged in the book (2 of 8); lids truly give 40 %.",
		Attacks: "the odd bins are pointed out; the interval does not shrink on wrong labels",
		Null:    false, Blame: CannotKnow,
		Truth: append(t, raw.with(func(e *Estimand) { e.On = AsWritten })...),
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			b.dealBins(f)
			b.act(f)
			b.unequalBins(0.08)
			b.mass()
			b.swapBins(f)
			return b.trial()
		},
	}
}

// swapBins exchanges the labels of a first-level and a second-level bin.
func (b *bench) swapBins(f factor) {
	c := Find(b.columns, f.name)
	b.hidden = append(b.hidden, Column{Name: f.name + "_true", Labels: append([]string(nil), c.Labels...)})
	pick := []int{-1, -1}
	for _, i := range b.Perm(b.n) {
		if pick[b.is(f, i)] < 0 {
			pick[b.is(f, i)] = b.bin[i]
		}
	}
	for i := range b.n {
		switch b.bin[i] {
		case pick[0]:
			c.Labels[i] = f.levels[1]
		case pick[1]:
			c.Labels[i] = f.levels[0]
		}
	}
}
