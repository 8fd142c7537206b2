package model

import (
	"math"
	"testing"
)

// Errors by each level's own spread and by bins, against dense matrices in R 4.2.2
// (testdata/oracles/robust.R).
func TestErrorsThatHold(t *testing.T) {
	t.Parallel()
	type errors struct{ Value, SE, DF float64 }
	var want map[string]struct {
		OwnSpread errors `json:"own_spread"`
		ByBins    errors `json:"by_bins"`
	}
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
	own, ok := f.OwnSpread(medium.Of)
	if !ok {
		t.Fatal("no own spreads")
	}
	for name, of := range map[string]Term{"light": LightTerm, "medium": {Kind: KindTreatment, A: "medium"}} {
		e, _ := d.Effect(of)
		w := make([]float64, len(d.Columns))
		w[e.First] = 1
		bins, ok := f.ByBins(w)
		if !ok {
			t.Fatal("bins don't judge")
		}
		for _, c := range []struct {
			name string
			got  Estimate
			want errors
		}{{"own spread", own.Linear(w), want[name].OwnSpread}, {"by bins", bins, want[name].ByBins}} {
			near(t, name+" "+c.name, c.got.Value, c.want.Value, 1e-9, 0)
			near(t, name+" "+c.name+" se", c.got.SE, c.want.SE, 1e-9, 0)
			near(t, name+" "+c.name+" df", c.got.DF, c.want.DF, 1e-8, 0)
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
	own, ok := f.OwnSpread(spray.Of)
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
	if _, ok := f.OwnSpread(medium.Of); ok {
		t.Error("a plant alone in its group has a spread")
	}
	if e, ok := f.ByBins([]float64{0, 0, 1}); ok {
		t.Errorf("two bins judge: %+v", e)
	}
	if _, ok := f.OwnSpread(nil); ok || math.IsNaN(f.RSS) {
		t.Error("no groups have spreads")
	}
}
