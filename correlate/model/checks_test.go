package model

import (
	"math"
	"testing"
)

// What cannot be estimated is absent, never NaN.
func TestChecksAreAbsentWhereNothingCanBeSaid(t *testing.T) {
	t.Parallel()
	for name, ok := range map[string]bool{
		"Welch, one group":              Welch([][]float64{{1, 2, 3}}).OK,
		"Welch, no group":               Welch(nil).OK,
		"Welch, a single value":         Welch([][]float64{{1, 2, 3}, {4}}).OK,
		"Welch, a group without spread": Welch([][]float64{{1, 2, 3}, {4, 4, 4}}).OK,
		"spread, one cell":              BrownForsythe([]float64{1, 2, 3}, []int{0, 0, 0}).OK,
		"spread, one plant a cell":      BrownForsythe([]float64{1, 2, 3}, []int{0, 1, 2}).OK,
		"spread, nothing":               BrownForsythe(nil, nil).OK,
		"spread, all alike":             BrownForsythe([]float64{1, -1, 1, -1}, []int{0, 0, 1, 1}).OK,
	} {
		if ok {
			t.Errorf("%s: not absent", name)
		}
	}
	if pairs := GamesHowell([][]float64{{1}, {2, 3}, {4, 4}, {5, 7}}); len(pairs) != 1 || pairs[0].A != 3 || pairs[0].B != 1 {
		t.Errorf("pairs %+v, want only the one of groups with spread", pairs)
	}
}

// y = 2 + 3x without error: coefficients stand, tests do not.
func TestAnExactFitHasNoTests(t *testing.T) {
	t.Parallel()
	x := []float64{0.1, 0.2, 0.3, 0.7, 1.1, 1.3}
	y := make([]float64, len(x))
	for i, v := range x {
		y[i] = 2 + 3*v
	}
	a := factorOf("a", "p", "q", "p", "q", "p", "q")
	f := fitted(t, Terms{Treatments: []Treatment{{a, PerPlant}}, Covariates: []Variable{{"x", x}}}, y)
	slope, _ := slopeOf(f, KindCovariate, "x")
	near(t, "slope", slope.Value, 3, 1e-14, 0)
	family := must(Compare(f, f.Design, f.Design.Families()[0]))
	_, moran := Moran(f, SharedEdges(nil, []int{1, 1, 1, 1, 1, 1}, []int{1, 2, 3, 4, 5, 6}), nil, 99, 1)
	if !f.Exact || slope.OK() || must(f.Coefficients())[0].HC3OK || len(f.Suspects()) != 0 || f.LackOfFit().OK ||
		len(family.Pairs) != 0 || moran || Redeal(f, f.Design.Treatments(), nil, 99, 1) != nil || EqualSlopes(f)[0].OK {
		t.Error("something was tested")
	}
	for _, test := range must(f.Partial()) {
		if test.OK {
			t.Errorf("%s was tested", test.Name())
		}
	}
	if family.Letters[0] != "a" || family.Letters[1] != "a" {
		t.Errorf("letters %v: nothing was shown to differ", family.Letters)
	}
}

// A row alone in its level determines a coefficient: no robust errors, no
// studentised residual for it, and the rest stands.
func TestARowAloneInItsLevel(t *testing.T) {
	t.Parallel()
	a := factorOf("a", "p", "p", "p", "q", "q", "q", "r")
	f := fitted(t, Terms{Treatments: []Treatment{{a, PerPlant}}}, []float64{1, 2, 4, 3, 5, 9, 7})
	if must(f.Coefficients())[0].HC3OK {
		t.Error("robust errors for a row with leverage one")
	}
	if s := f.Studentized(); !math.IsNaN(s[6]) || math.IsNaN(s[0]) {
		t.Errorf("studentised %v", s)
	}
	m := must(Compare(f, f.Design, f.Design.Families()[0]))
	if len(m.Pairs) != 3 {
		t.Errorf("%d pairs, want 3", len(m.Pairs))
	}
	for _, p := range m.Pairs {
		if !(p.P >= p.PSingle && p.P <= 1 && p.CI95[0] < p.CI95[1]) {
			t.Errorf("pair %+v", p)
		}
	}
}

// One value moved far off, and only it, is a suspect.
func TestSuspects(t *testing.T) {
	t.Parallel()
	tab := readTable(t, "cases", "plantgrowth.csv")
	y := tab.numbers(t, "weight")
	terms := Terms{Treatments: []Treatment{{tab.factor(t, "group"), PerPlant}}}
	if s := fitted(t, terms, y).Suspects(); len(s) != 0 {
		t.Errorf("suspects %v among the published values", s)
	}
	y[16] += 5
	if s := fitted(t, terms, y).Suspects(); len(s) != 1 || s[0].Row != 16 || s[0].Studentized < 4 {
		t.Errorf("suspects %v, want row 16", s)
	}
}

// Variance inflation by its definition, 1 / (1 − R²), R² of a fit of the one on the others.
func TestEdgeBesideLight(t *testing.T) {
	t.Parallel()
	tab := readTable(t, "cases", "cabbages.csv")
	head, y := tab.numbers(t, "HeadWt"), tab.numbers(t, "VitC")
	edge := make([]float64, len(y))
	for i, v := range head {
		if i%3 == 0 || v > 3 {
			edge[i] = 1
		}
	}
	terms := Terms{Treatments: []Treatment{{tab.factor(t, "Cult"), PerPlant}}, Light: &Variable{"HeadWt", head}}
	e, vif, err := plants(t, terms, Quantities(y)).Beside("edge", edge)
	if err != nil {
		t.Fatal(err)
	}
	on := fitted(t, terms, edge)
	var total float64
	for _, v := range edge {
		total += (v - mean(edge)) * (v - mean(edge))
	}
	near(t, "vif", vif, total/on.RSS, 1e-12, 0)
	with := terms
	with.Covariates = []Variable{{"edge", edge}}
	want, _ := slopeOf(fitted(t, with, y), KindCovariate, "edge")
	near(t, "estimate", e.Value, want.Value, 1e-11, 0)
	near(t, "se", e.SE, want.SE, 1e-11, 0)
	if _, _, err := plants(t, terms, Quantities(y)).Beside("head again", head); err == nil {
		t.Error("a column twice: no error")
	}
}

// Two plants side by side in different bins are no neighbours; a plant without
// neighbours takes no part.
func TestNeighboursShareAnEdgeInOneBin(t *testing.T) {
	t.Parallel()
	n := SharedEdges([]int{0, 0, 1, 1, 0}, []int{1, 1, 1, 1, 4}, []int{1, 2, 3, 4, 4})
	if len(n.edge) != 2 || n.rows != 4 {
		t.Errorf("%+v", n)
	}
	got, ok := n.Moran([]float64{1, -1, 2, -2, 0})
	// Σ w e e = 2·(1·−1) + 2·(2·−2) = −10; Σ e² = 10; n/Σw = 5/4.
	if !ok || got != -1.25 {
		t.Errorf("I = %g, want −1.25", got)
	}
	if _, ok := SharedEdges(nil, []int{1, 3}, []int{1, 3}).Moran([]float64{1, -1}); ok {
		t.Error("I without neighbours")
	}
}

// Student's and Fisher's tails: the 5 % points t₁₀ = 2.228 and F₃,₂₀ = 3.098 of
// the tables in NIST/SEMATECH, e-Handbook of Statistical Methods, 1.3.6.7.2 and
// 1.3.6.7.3, with the further digits of qt and qf in R 4.2.2, and the closed form
// for two degrees of freedom.
func TestTails(t *testing.T) {
	t.Parallel()
	near(t, "t", tQuantile(0.05, 10), 2.228139, 2e-7, 0)
	near(t, "F", fUpper(3.098391, 3, 20), 0.05, 1e-5, 0)
	for _, df := range []float64{1, 1.5, 2, 3, 10, 100, 1e4} {
		for _, p := range []float64{0.9, 0.4, 0.05, 1e-3, 1e-8} {
			near(t, "quantile and tail", tTwoSided(tQuantile(p, df), df), p, 1e-12*max(1, df/10), 0)
		}
	}
	for _, x := range []float64{0.1, 1, 5, 1e3, 1e6} {
		// P(|T| ≥ x) = 1 − x/√(2 + x²) on two degrees of freedom, written without cancellation.
		r := math.Sqrt(2 + x*x)
		near(t, "two degrees of freedom", tTwoSided(x, 2), 2/(r*(r+x)), 1e-12, 0)
	}
}
