package model

import (
	"math"
	"testing"
)

// What is asked of slopes, spread and bend of counts, against glm of R 4.2.2 and dense
// matrices of Pearson's residuals under its working weights (testdata/oracles/robust.R).
func TestCountsWithoutOneSpread(t *testing.T) {
	t.Parallel()
	type tested struct{ Value, DF, P float64 }
	var want struct {
		Counts map[string]errorsThatHold
		Wider  struct{ Start, Light, Bend, Spread tested }
		Apart  map[string]judged
	}
	readJSON(t, &want, "tables", "robust.json")
	tab := readTable(t, "cases", "lamps.csv")
	terms := lamps(t, tab)
	medium := terms.Treatments[2]
	terms.Treatments, terms.Interactions = []Treatment{medium}, false
	strata, err := FitStrata(len(medium.Of), terms, nil, Counts{tab.numbers(t, "leaves"), tab.numbers(t, "cells")})
	if err != nil {
		t.Fatal(err)
	}
	f := strata[0].Model.(*CountFit)
	checkErrors(t, f, f.Design, medium.Of, want.Counts, 1e-8)
	slopes := EqualSlopes(f)
	if len(slopes) != 2 || slopes[0].Name() != "start_g × medium" || slopes[1].Of != LightTerm {
		t.Fatalf("%+v", slopes)
	}
	for name, c := range map[string]struct {
		got  Test
		want tested
	}{
		"start": {slopes[0].Test, want.Wider.Start}, "light": {slopes[1].Test, want.Wider.Light},
		"bend": {Bend(f), want.Wider.Bend}, "spread": {f.CountsSpread(medium.Of), want.Wider.Spread},
	} {
		near(t, name, c.got.Value, c.want.Value, 1e-8, 0)
		near(t, name+" df", c.got.DF[1], c.want.DF, 0, 0)
		near(t, name+" p", c.got.P, c.want.P, 1e-8, 0)
	}
	list, err := strata[0].SlopesByLevel(LightTerm, "medium", func(m Model, w []float64, among int) (Pair, error) { return m.Linear(w).Among(among) })
	if err != nil || len(list) != 2 {
		t.Fatal(list, err)
	}
	for i, p := range list {
		near(t, "slope", p.Value, want.Apart[medium.Levels[i]].Value, 1e-9, 0)
		near(t, "slope se", p.SE, want.Apart[medium.Levels[i]].SE, 1e-8, 0)
		near(t, "p of two", p.P, math.Min(1, 2*p.PSingle), 1e-12, 0)
	}
}

// Products that join a model of answers are tested as the same column is where it stands
// in the model, within bins and without; a slope at a level is that column's where the
// other level's is the plain one.
func TestAnswersBesideProducts(t *testing.T) {
	t.Parallel()
	tab := readTable(t, "cases", "lamps.csv")
	terms := lamps(t, tab)
	medium, light := terms.Treatments[2], *terms.Light
	y := tab.numbers(t, "leaves")
	for i, v := range y {
		y[i] = 0
		if v > 2 {
			y[i] = 1
		}
	}
	bin := terms.Bin
	product := Variable{"product", products(light.Values, medium.Factor)[1]}
	for name, b := range map[string]*Factor{"without bins": nil, "within bins": bin} {
		plain := Terms{Bin: b, Treatments: []Treatment{medium}, Light: &light}
		with := plain
		with.Covariates = []Variable{product}
		small, err := FitStrata(len(y), plain, nil, Answers{Y: y})
		if err != nil {
			t.Fatal(err)
		}
		large, err := FitStrata(len(y), with, nil, Answers{Y: y})
		if err != nil {
			t.Fatal(err)
		}
		own, _ := large[0].Design.Effect(Term{Kind: KindCovariate, A: "product"})
		at := -1
		for i, test := range large[0].Tests {
			if test.A == own.A {
				at = i
			}
		}
		got := EqualSlopes(small[0].Model.(Wider))[0]
		near(t, name, got.Value, large[0].Tests[at].Value, 1e-6, 1e-9)
		near(t, name+" p", got.P, large[0].Tests[at].P, 1e-6, 0)
		list, err := small[0].SlopesByLevel(LightTerm, "medium", func(m Model, w []float64, among int) (Pair, error) {
			return ProfileAmong(m.(Profiled), w, among)
		})
		if err != nil {
			t.Fatal(err)
		}
		difference, _ := Slope(large[0].Model, large[0].Design, Term{Kind: KindCovariate, A: "product"})
		near(t, name+" slopes", list[1].Value-list[0].Value, difference.Value, 1e-5, 1e-6)
		if !(list[0].CI95[0] < list[0].Value && list[0].Value < list[0].CI95[1]) || !(list[0].P >= list[0].PSingle) {
			t.Errorf("%s: %+v", name, list[0])
		}
	}
}
