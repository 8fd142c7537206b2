package model

import (
	"math"
	"slices"
	"testing"
)

// Levels without an event against base R (testdata/oracles/claims.R): their pairs by
// the hypergeometric distribution, the others by the fit without their rows.
func TestLevelsWithoutEvents(t *testing.T) {
	t.Parallel()
	var want struct {
		Eventless struct {
			Roots struct {
				DF    int
				Phi   float64 `json:"dispersion"`
				Light struct{ F, P float64 }
				Pairs []struct {
					A, B  string
					Ratio float64 `json:"log_ratio"`
					SE, P float64
				}
				Exact []exactPair
			}
			Buds struct{ Exact []exactPair }
		}
	}
	readJSON(t, &want, "tables", "claims.json")
	tab := readTable(t, "cases", "eventless.csv")
	bin, shelf, light := tab.factor(t, "bin"), tab.factor(t, "shelf"), Variable{"light", tab.numbers(t, "light")}
	s := plants(t, Terms{Bin: &bin, Light: &light, Treatments: []Treatment{{tab.factor(t, "hormone"), PerPlant}}},
		Counts{tab.numbers(t, "roots"), tab.numbers(t, "cells")})
	f := s.Model.(*CountFit)
	m := must(Compare(f, s.Design, s.Families()[0]))
	roots := want.Eventless.Roots
	if near(t, "dispersion", f.Dispersion, roots.Phi, 1e-9, 0); f.DF != roots.DF || len(m.Pairs) != 6 {
		t.Errorf("df %d, want %d; %d pairs", f.DF, roots.DF, len(m.Pairs))
	}
	checkExact(t, s, m, roots.Exact)
	for _, w := range roots.Pairs {
		p := pairOfLevels(t, s, m, w.A, w.B)
		near(t, w.A+" "+w.B, p.Value, w.Ratio, 1e-8, 1)
		near(t, w.A+" "+w.B+" se", p.SE, w.SE, 1e-8, 0)
		near(t, w.A+" "+w.B+" p", p.P, w.P, 1e-8, 0)
	}
	lit := find(t, s.Tests, "light")
	near(t, "light F", lit.Value, roots.Light.F, 1e-7, 0)
	near(t, "light p", lit.P, roots.Light.P, 1e-7, 0)
	if none, gel := m.Letters[1], m.Letters[0]; none == gel {
		t.Errorf("letters %q", m.Letters)
	}

	strata, err := FitStrata(len(bin.Of), Terms{Block: &shelf, Bin: &bin, Treatments: []Treatment{{tab.factor(t, "cover"), PerBin}}}, nil, Counts{Y: tab.numbers(t, "buds")})
	if err != nil {
		t.Fatal(err)
	}
	checkExact(t, strata[1], must(Compare(strata[1].Model, strata[1].Design, strata[1].Families()[0])), want.Eventless.Buds.Exact)
}

// exactPair is a pair one of whose levels has no event.
type exactPair struct {
	None, Some string
	P, Limit   float64
	Single     float64 `json:"p_single"`
}

func pairOfLevels(t *testing.T, s *Stratum, m Means, a, b string) Pair {
	t.Helper()
	i := slices.IndexFunc(m.Pairs, func(p Pair) bool {
		return s.Design.Levels(m.Cells[p.A]) == a && s.Design.Levels(m.Cells[p.B]) == b
	})
	if i < 0 {
		t.Fatalf("no pair of %s and %s in %+v", a, b, m.Pairs)
	}
	return m.Pairs[i]
}

func checkExact(t *testing.T, s *Stratum, m Means, list []exactPair) {
	t.Helper()
	least := 1.0
	for _, w := range list {
		a, b := w.None, w.Some
		if a < b {
			a, b = b, a
		}
		p := pairOfLevels(t, s, m, a, b)
		near(t, a+" "+b+" p", p.P, w.P, 1e-10, 0)
		near(t, a+" "+b+" p alone", p.PSingle, w.Single, 1e-10, 0)
		limit, open := p.CI95[1], p.CI95[0]
		if a == w.Some {
			limit, open = -p.CI95[0], -p.CI95[1]
		}
		if near(t, a+" "+b+" limit", math.Exp(limit), w.Limit, 1e-10, 0); !math.IsInf(open, -1) || !p.Eventless {
			t.Errorf("%s %s: %+v", a, b, p)
		}
		least = min(least, w.P)
	}
	for _, p := range m.Pairs {
		if !p.Eventless {
			least = min(least, p.P)
		}
	}
	test := find(t, s.Tests, m.Name())
	if near(t, m.Name()+" p", test.P, least, 1e-10, 0); test.Statistic != Pairs || !test.Eventless {
		t.Errorf("%+v", test)
	}
}
