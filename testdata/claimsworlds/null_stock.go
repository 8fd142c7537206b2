package claimsworlds

import (
	"fmt"
	"math"
	"slices"
)

// nullStock: the plants are not of one stock.
func nullStock() []World {
	return []World{
		speciesWorld("three-species", "Three species stand mixed in every bin, one four times the other's mass and rougher; no medium does anything.", idleMedium, nil),
		speciesByBin(),
		mothersWorld("mothers-shared-unequally", "Cuttings of nine mothers, which differ (sd 0.3), shared unequally over media; the table names the mother.", MustHold, true, false),
		mothersWorld("mothers-not-written-down", "The same, but nobody wrote the mothers down.", CannotKnow, false, false),
		mothersWorld("mothers-each-on-one-medium", "Each mother's cuttings went to one medium only: three mothers a medium.", MustAdmit, true, true),
		startWorld(),
	}
}

var threeSpecies = []string{"Sp. A", "Sp. B", "Sp. C"}

// speciesWorld: change, if given, is what level j of f adds in species s.
func speciesWorld(name, trouble string, f factor, change [][]float64) World {
	t := usualTruth("mass", LogRatio, []factor{f}, nil, 0).with(func(e *Estimand) {
		e.Held = append(slices.Clip(e.Held), "species")
	})
	return World{
		Name: name, Trouble: trouble,
		Attacks: "species do not leak into treatment claims, and one species' spread does not set the other's",
		Null:    change == nil, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 6, rows: 4, cols: 6, shelves: 2, lampCV: 0.08})
			kind := factor{name: "species", levels: threeSpecies}
			b.dealCrossed(kind, f)
			b.roles.PlantTreatments = []string{f.name}
			b.roles.Species = "species"
			b.add(func(i int) float64 {
				s := b.is(kind, i)
				v := []float64{0, 0.7, 1.4}[s]
				if change != nil {
					v += change[s][b.is(f, i)]
				}
				return v
			})
			b.unequalBins(0.15)
			b.measure("mass", math.Log(20), true, func(i int) float64 {
				return []float64{0.1, 0.2, 0.4}[b.is(kind, i)] * b.NormFloat64()
			})
			return b.trial()
		},
	}
}

// speciesByBin: each bin holds one species, so it cannot be parted from bins.
func speciesByBin() World {
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, 0)
	t = append(t, pairs("mass", LogRatio, idleCover, "light", "species")...)
	return World{
		Name:    "species-by-bin",
		Trouble: "Each bin holds one species (three bins each, each fourfold the other); covers dealt to whole bins do nothing.",
		Attacks: "bin treatments are compared within species, with bins as the unit",
		Null:    true, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 9, rows: 3, cols: 4, shelves: 1, lampCV: 0.08})
			b.dealPlants(idleMedium)
			b.dealBins(idleCover)
			order := b.Perm(9)
			species := make([]string, b.n)
			for i := range species {
				species[i] = threeSpecies[order[b.bin[i]]/3]
			}
			b.columns = append(b.columns, Column{Name: "species", Labels: species})
			b.roles.Species = "species"
			b.disturb(func(i int) float64 { return []float64{0, 0.7, 1.4}[order[b.bin[i]]/3] })
			b.unequalBins(0.2)
			b.mass()
			return b.trial()
		},
	}
}

func mothersWorld(name, trouble string, blame Blame, written, nested bool) World {
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, 0).with(func(e *Estimand) {
		e.Held = append(slices.Clip(e.Held), "mother")
	})
	return World{
		Name: name, Trouble: trouble + " No medium does anything.",
		Attacks: "shared mothers are not counted as so many free plants",
		Null:    true, Blame: blame, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, plan{bins: 8, rows: 3, cols: 5, shelves: 2, lampCV: 0.08})
			b.dealPlants(idleMedium)
			own := b.normals(9, 0.3)
			mother := b.mothers(nested)
			b.disturb(func(i int) float64 { return own[mother[i]] })
			if written {
				b.columns = append(b.columns, Column{Name: "mother", Labels: names("M", mother)})
				b.roles.Mother = "mother"
				b.roles.Covariates = append(b.roles.Covariates, "mother")
			}
			b.unequalBins(0.1)
			b.mass()
			return b.trial()
		},
	}
}

// mothers gives each plant one of nine mothers; three of them favour the
// plant's medium by 5 to 1, or are the only ones if nested.
func (b *bench) mothers(nested bool) []int {
	mother := make([]int, b.n)
	for i := range mother {
		home := b.is(idleMedium, i)
		if !nested && b.Float64() > 5.0/7 {
			home = (home + 1 + b.IntN(2)) % 3
		}
		mother[i] = 3*home + b.IntN(3)
	}
	return mother
}

// startWorld: big starters were given the good medium, so it seems.
func startWorld() World {
	t := usualTruth("mass", LogRatio, []factor{idleMedium}, nil, 0).with(func(e *Estimand) {
		e.Held = append(slices.Clip(e.Held), "log_start")
	})
	t = append(t, slope("mass", LogRatio, "log_start", 0.8, "bin", "light", "medium")...)
	return World{
		Name:    "start-mass-unequal",
		Trouble: "The person potting favoured bark with the bigger starters (15 %); final mass follows starting mass (0.8 on logs), media do nothing.",
		Attacks: "the starting mass, where named, is held",
		Null:    true, Blame: MustHold, Truth: t,
		Deal: func(seed uint64) Trial {
			b := lay(seed, usual)
			b.dealPlants(idleMedium)
			start := make([]float64, b.n)
			for i := range start {
				start[i] = math.Log(5) + 0.07*float64(b.is(idleMedium, i)) + 0.25*b.NormFloat64()
			}
			b.covariate("log_start", start)
			b.add(func(i int) float64 { return 0.8 * (start[i] - math.Log(5)) })
			b.unequalBins(0.15)
			b.mass()
			return b.trial()
		},
	}
}

func covariateName(k int) string { return fmt.Sprintf("x%02d", k+1) }
