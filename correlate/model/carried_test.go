package model

import (
	"math"
	"slices"
	"testing"
)

// claims are expected values by base R (testdata/oracles/claims.R).
type claims struct {
	TwoPart []struct {
		Difference, A, B, Half, P float64
		K                         int
		DF                        [2]float64
	} `json:"two_part"`
	Lamps struct{ Measure, Count lampClaims }
}

type lampClaims struct {
	DF    [2]float64
	Pairs []struct {
		Treatment                 string
		A1                        string `json:"a"`
		B1                        string `json:"b"`
		Difference, A, B, Half, P float64
	}
	Interaction struct{ F, P float64 }
}

func readClaims(tb testing.TB) (c claims) {
	tb.Helper()
	readJSON(tb, &c, "tables", "claims.json")
	return c
}

// One difference whose error has two parts.
func TestTwoPartInterval(t *testing.T) {
	t.Parallel()
	for _, c := range readClaims(t).TwoPart {
		e := Estimate{Value: c.Difference, SE: math.Sqrt(c.A + c.B), DF: c.DF[0], Carried: &Carried{math.Sqrt(c.A), math.Sqrt(c.B), c.DF[1]}}
		var q studentized
		p := q.pair(1, 0, e, c.K)
		near(t, "half-width", p.Critical*e.SE, c.Half, 1e-9, 0)
		near(t, "interval", p.CI95[1]-c.Difference, c.Half, 1e-9, 0)
		near(t, "p", p.P, c.P, 1e-8, 0)
	}
}

// lamps is a trial of twelve bins under three lamps, with and without a lid, and of
// two media within bins, beside a covariate and light.
func lamps(t *testing.T, tab table) Terms {
	t.Helper()
	bin := tab.factor(t, "bin")
	return Terms{
		Bin: &bin, Interactions: true,
		Treatments: []Treatment{{tab.factor(t, "lamp"), PerBin}, {tab.factor(t, "lid"), PerBin}, {tab.factor(t, "medium"), PerPlant}},
		Covariates: []Variable{{"start_g", tab.numbers(t, "start_g")}},
		Light:      &Variable{"light", tab.numbers(t, "light")},
	}
}

// Whole bins that slopes adjusted carry the error of the slopes, for measures and
// for counts.
func TestBinsCarryTheErrorOfSlopes(t *testing.T) {
	t.Parallel()
	tab, want := readTable(t, "cases", "lamps.csv"), readClaims(t).Lamps
	for kind, c := range map[string]struct {
		y    Response
		want lampClaims
	}{
		"measure": {Quantities(tab.numbers(t, "mass_g")), want.Measure},
		"count":   {Counts{tab.numbers(t, "leaves"), tab.numbers(t, "cells")}, want.Count},
	} {
		strata, err := FitStrata(len(tab["bin"]), lamps(t, tab), nil, c.y)
		if err != nil {
			t.Fatal(err)
		}
		bins := strata[1]
		families := bins.Families()
		for _, w := range c.want.Pairs {
			i := slices.IndexFunc(families, func(f Family) bool { return f.Name() == w.Treatment })
			m := must(Compare(bins.Model, bins.Design, families[i]))
			j := slices.IndexFunc(m.Pairs, func(p Pair) bool {
				return bins.Design.Levels(m.Cells[p.A]) == w.A1 && bins.Design.Levels(m.Cells[p.B]) == w.B1
			})
			p := m.Pairs[j]
			what := kind + " " + w.A1 + " against " + w.B1
			near(t, what, p.Value, w.Difference, 1e-8, 0.1)
			near(t, what+" scatter", p.Carried.Scatter, math.Sqrt(w.A), 1e-8, 0)
			near(t, what+" slope", p.Carried.Slope, math.Sqrt(w.B), 1e-8, 0)
			near(t, what+" half-width", p.Critical*p.SE, w.Half, 1e-8, 0)
			near(t, what+" p", p.P, w.P, 1e-8, 0)
			if got := [2]float64{p.DF, p.Carried.DF}; got != c.want.DF {
				t.Errorf("%s: df %v, want %v", what, got, c.want.DF)
			}
		}
		lamp, lid := find(t, bins.Tests, "lamp"), find(t, bins.Tests, "lid")
		for _, test := range []Test{lamp, lid} {
			least := 1.0
			for _, w := range c.want.Pairs {
				if w.Treatment == test.Name() {
					least = min(least, w.P)
				}
			}
			if near(t, test.Name(), test.P, least, 1e-6, 0); test.Statistic != Pairs {
				t.Errorf("%+v", test)
			}
		}
		both := find(t, bins.Tests, "lamp × lid")
		near(t, kind+" interaction F", both.Value, c.want.Interaction.F, 1e-7, 0)
		near(t, kind+" interaction p", both.P, c.want.Interaction.P, 1e-7, 0)
	}
}

// Three levels on one degree of freedom between bins are not compared once slopes
// adjust the bins; two are.
func TestTooFewAdjustedBins(t *testing.T) {
	t.Parallel()
	tab := readTable(t, "cases", "lamps.csv")
	few := table{}
	for i, bin := range tab["bin"] {
		if bin <= "b04" {
			for name, cells := range tab {
				few[name] = append(few[name], cells[i])
			}
		}
	}
	for _, y := range []Response{Quantities(few.numbers(t, "mass_g")), Counts{Y: few.numbers(t, "leaves")}} {
		terms := lamps(t, few)
		terms.Interactions, terms.Treatments = false, terms.Treatments[:1]
		strata, err := FitStrata(len(few["bin"]), terms, nil, y)
		if err != nil {
			t.Fatal(err)
		}
		s := strata[1]
		m := must(Compare(s.Model, s.Design, s.Families()[0]))
		if test := s.Tests[0]; !test.TooFew || test.OK || m.Letters != nil || len(m.Pairs) != 3 {
			t.Errorf("%T: %+v, letters %v", y, test, m.Letters)
		}
		for _, p := range m.Pairs {
			if !p.TooFew || !math.IsNaN(p.P) || !math.IsNaN(p.CI95[0]) || !(p.SE > 0) {
				t.Errorf("%T: %+v", y, p)
			}
		}
		terms.Covariates, terms.Light = nil, nil
		if strata, err = FitStrata(len(few["bin"]), terms, nil, y); err != nil {
			t.Fatal(err)
		}
		if test := strata[1].Tests[0]; !test.OK || test.Statistic != F || test.DF != [2]float64{2, 1} {
			t.Errorf("%T without slopes: %+v", y, test)
		}
	}
}
