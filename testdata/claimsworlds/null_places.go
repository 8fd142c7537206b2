package claimsworlds

import "math"

// nullPlaces: where in the bin a plant stands.
func nullPlaces() []World {
	return []World{
		edgeWorld("edge-is-light", "The rim is darker and nothing else varies: edge and light are one column. Neither does anything.", 0, 0, 0),
		edgeWorld("edge-nearly-light", "The rim is darker; beside it light varies by 2 % only. Neither edge nor light does anything.", 0.02, 0, 0),
		patchWorld("patches-dealt", "Wet patches within bins let neighbours grow alike; media are dealt at random.", MustHold, false),
		patchWorld("patches-in-strips", "Wet patches within bins, and media set out in strips by hand, not dealt.", MustAdmit, true),
	}
}

// edgeWorld: light is the rim's shade, rough by 'rough'; the log mass follows
// light by lightSlope and the rim by rimEffect beside it.
func edgeWorld(name, trouble string, rough, lightSlope, rimEffect float64) World {
	s := LogRatio
	held := []string{"bin", "light", "edge"}
	if rough == 0 {
		held = held[:2] // edge says nothing that light does not
	}
	t := pairs("mass", s, idleMedium, held...)
	alone := append(slope("mass", s, "light", lightSlope, "bin", "edge"), slope("mass", s, "edge", rimEffect, "bin", "light")...)
	if rough == 0 {
		alone = alone.undefined("edge and light are one column within a bin")
	}
	t = append(t, alone...)
	// Light of the rim is 200·0.8, of the middle 200·1.2: 80 less.
	both := slope("mass", s, "edge", rimEffect-80*lightSlope, "bin")
	t = append(t, both.as(AlsoRight, "rim against middle as they are, shade and all")...)
	return World{
		Name: name, Trouble: trouble,
		Attacks: "collinear columns: neither is claimed alone, intervals grow wide, media stay judged",
		Null:    true, Blame: MustAdmit, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 4, cols: 5, shelves: 2})
			for i := range b.light {
				b.light[i] = meanLight * (1.2 - 0.4*b.rim[i]) * (1 + rough*b.NormFloat64())
			}
			b.covariate("edge", b.rim)
			b.dealPlants(idleMedium)
			b.addSlope(lightSlope)
			b.add(func(i int) float64 { return rimEffect * b.rim[i] })
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}

func patchWorld(name, trouble string, blame Blame, strips bool) World {
	medium := idle("medium", "peat", "coir", "bark")
	return World{
		Name: name, Trouble: trouble,
		Attacks: "neighbours that resemble each other do not make claims, or a caution says that media were not dealt",
		Null:    true, Blame: blame,
		Truth: usualTruth("mass", LogRatio, []factor{medium}, nil, 0),
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 4, rows: 6, cols: 6, shelves: 2, lampCV: 0.08})
			if strips {
				order := b.Perm(3)
				level := make([]int, b.n)
				for i := range level {
					level[i] = order[b.col[i]/2]
				}
				b.give(medium, level, false)
			} else {
				b.dealPlants(medium)
			}
			b.patches(0.35)
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}

// patches puts three smooth wet spots in each bin.
func (b *bench) patches(height float64) {
	type spot struct{ row, col, height float64 }
	spots := make([][]spot, b.bins)
	for k := range spots {
		for range 3 {
			spots[k] = append(spots[k], spot{
				b.Float64() * float64(b.rows-1),
				b.Float64() * float64(b.cols-1), height * b.NormFloat64(),
			})
		}
	}
	b.disturb(func(i int) float64 {
		sum := 0.0
		for _, s := range spots[b.bin[i]] {
			dr, dc := float64(b.row[i])-s.row, float64(b.col[i])-s.col
			sum += s.height * math.Exp(-(dr*dr+dc*dc)/(2*1.5*1.5))
		}
		return sum
	})
}
