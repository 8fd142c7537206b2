package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Errors by each level's own spread and by bins, against dense matrices in R 4.2.2
// (testdata/oracles/robust.R).
func TestErrorsThatHold(t *testing.T) {
	t.Parallel()
	var want map[string]errorsThatHold
	readJSON(t, &want, "tables", "robust.json")
	tab := readTable(t, "cases", "lamps.csv")
	terms := lamps(t, tab)
	medium := terms.Treatments[2]
	terms.Treatments, terms.Interactions = []Treatment{medium}, false
	d, err := NewDesign(len(medium.Of), terms)
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Fit(tab.numbers(t, "mass_g"))
	if err != nil {
		t.Fatal(err)
	}
	checkErrors(t, f, d, medium.Of, want, 1e-9)
}

// judged is an estimate by each level's own spread, and by bins.
type judged struct{ Value, SE, DF float64 }

type errorsThatHold struct {
	OwnSpread judged `json:"own_spread"`
	ByBins    judged `json:"by_bins"`
}

// checkErrors sets those of light and of medium beside what is wanted: standard errors
// to the tolerance, degrees of freedom to ten times that.
func checkErrors(t *testing.T, f Weighed, d *Design, medium []int, want map[string]errorsThatHold, tolerance float64) {
	t.Helper()
	own, ok := OwnSpreads(f, medium)
	if !ok {
		t.Fatal("no own spreads")
	}
	for name, of := range map[string]Term{"light": LightTerm, "medium": {Kind: KindTreatment, A: "medium"}} {
		e, _ := d.Effect(of)
		w := make([]float64, len(d.Columns))
		w[e.First] = 1
		bins, ok := ByBins(f, w)
		if !ok {
			t.Fatal("bins don't judge")
		}
		for _, c := range []struct {
			name string
			got  Estimate
			want judged
		}{{"own spread", own.Linear(w), want[name].OwnSpread}, {"by bins", bins, want[name].ByBins}} {
			near(t, name+" "+c.name, c.got.Value, c.want.Value, 1e-9, 0)
			near(t, name+" "+c.name+" se", c.got.SE, c.want.SE, tolerance, 0)
			near(t, name+" "+c.name+" df", c.got.DF, c.want.DF, 10*tolerance, 0)
		}
	}
}

// With one treatment and nothing else, own spreads are Games and Howell's.
func TestOwnSpreadsOfOneTreatmentAreGamesAndHowells(t *testing.T) {
	t.Parallel()
	tab := readTable(t, "cases", "insectsprays.csv")
	spray, counts := tab.factor(t, "spray"), tab.numbers(t, "count")
	d, err := NewDesign(len(counts), Terms{Treatments: []Treatment{{spray, PerPlant}}})
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Fit(counts)
	if err != nil {
		t.Fatal(err)
	}
	own, ok := OwnSpreads(f, spray.Of)
	if !ok {
		t.Fatal("no own spreads")
	}
	groups := make([][]float64, len(spray.Levels))
	for i, l := range spray.Of {
		groups[l] = append(groups[l], counts[i])
	}
	got, want := own.Pairs(must(Compare(f, d, d.Families()[0]))), GamesHowell(groups)
	if len(got) != len(want) {
		t.Fatalf("%d pairs, want %d", len(got), len(want))
	}
	for i, w := range want {
		g := got[i]
		if g.A != w.A || g.B != w.B {
			t.Fatalf("pair %d is of %d and %d", i, g.A, g.B)
		}
		near(t, "difference", g.Value, w.Value, 1e-9, 1e-9)
		near(t, "se", g.SE, w.SE, 1e-9, 0)
		near(t, "df", g.DF, w.DF, 1e-9, 0)
		near(t, "p", g.P, w.P, 1e-7, 1e-12)
	}
}

// One plant alone in its group has no spread of its own; two bins can't judge.
func TestErrorsThatCantBeHad(t *testing.T) {
	t.Parallel()
	bins, medium := groups(2, 4), Factor{Name: "medium", Levels: []string{"bark", "coir"}, Of: []int{0, 1, 1, 1, 1, 1, 1, 1}}
	d, err := NewDesign(8, Terms{Bin: &bins, Treatments: []Treatment{{medium, PerPlant}}})
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Fit([]float64{3, 1, 4, 1, 5, 9, 2, 6})
	if err != nil {
		t.Fatal(err)
	}
	if _, ok := OwnSpreads(f, medium.Of); ok {
		t.Error("a plant alone in its group has a spread")
	}
	if e, ok := ByBins(f, []float64{0, 0, 1}); ok {
		t.Errorf("two bins judge: %+v", e)
	}
	if _, ok := OwnSpreads(f, nil); ok || math.IsNaN(f.RSS) {
		t.Error("no groups have spreads")
	}
}

// How far bins and plants differ, against dense matrices in R and, of oats in split
// plots (Yates 1935), against its classical mean squares (testdata/oracles/robust.R).
func TestSpreadOfBinsAndPlants(t *testing.T) {
	t.Parallel()
	type spread struct{ SD, DF, Low, High float64 }
	var want struct{ Bins, Plants, Oats spread }
	readJSON(t, &want, "tables", "robust.json")
	check := func(name string, got Spread, ok bool, w spread) {
		t.Helper()
		if !ok {
			t.Errorf("%s: no spread", name)
		}
		near(t, name+" sd", got.SD, w.SD, 1e-9, 0)
		near(t, name+" df", got.DF, w.DF, 0, 1e-9)
		near(t, name+" low", got.CI95[0], w.Low, 1e-8, 1e-12)
		near(t, name+" high", got.CI95[1], w.High, 1e-8, 0)
	}
	fit := func(terms Terms, y []float64) *Fit {
		d, err := NewDesign(len(y), terms)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Fit(y)
		if err != nil {
			t.Fatal(err)
		}
		return f
	}
	tab := readTable(t, "cases", "lamps.csv")
	terms := lamps(t, tab)
	terms.Interactions = false
	f := fit(terms, tab.numbers(t, "mass_g"))
	bins, ok := f.BinSpread(terms)
	check("bins", bins, ok, want.Bins)
	plants, ok := f.PlantSpread()
	check("plants", plants, ok, want.Plants)

	tab = readTable(t, "cases", "oats.csv")
	block, plot := tab.factor(t, "B"), tab.factor(t, "plot")
	terms = Terms{Block: &block, Bin: &plot, Treatments: []Treatment{{tab.factor(t, "V"), PerBin}, {tab.factor(t, "N"), PerPlant}}}
	bins, ok = fit(terms, tab.numbers(t, "Y")).BinSpread(terms)
	check("plots of oats", bins, ok, want.Oats)
}

// The interval of how far bins differ holds the truth in 94 % or more of 2,000 trials
// each; Monte Carlo error 0.5 %, three allowed.
func TestSpreadOfBinsHolds(t *testing.T) {
	t.Parallel()
	const trials = 2000
	for _, truth := range []float64{0.2, 1} {
		rng := rand.New(rand.NewPCG(77, uint64(10*truth)))
		held := 0
		bins, medium := groups(6, 8), Factor{Name: "medium", Levels: []string{"bark", "coir"}}
		for i := range bins.Of {
			medium.Of = append(medium.Of, i%2)
		}
		terms := Terms{Bin: &bins, Treatments: []Treatment{{medium, PerPlant}}}
		d, err := NewDesign(48, terms)
		if err != nil {
			t.Fatal(err)
		}
		for range trials {
			y, own := make([]float64, 48), make([]float64, 6)
			for b := range own {
				own[b] = truth * rng.NormFloat64()
			}
			for i, b := range bins.Of {
				y[i] = own[b] + rng.NormFloat64()
			}
			f, err := d.Fit(y)
			if err != nil {
				t.Fatal(err)
			}
			if s, ok := f.BinSpread(terms); ok && s.CI95[0] <= truth && truth <= s.CI95[1] {
				held++
			}
		}
		share := float64(held) / trials
		t.Logf("sd %g between bins, 1 between plants: held in %.3f", truth, share)
		if share < 0.94-3*0.005 {
			t.Errorf("sd %g: held in %.3f", truth, share)
		}
	}
}
