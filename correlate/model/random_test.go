package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// FuzzNeverNaN fits made-up trials, many of them degenerate, and demands that
// whatever is given is a number: p within 0 and 1, limits in order.
func FuzzNeverNaN(f *testing.F) {
	for seed := range uint64(400) {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, seed uint64) {
		rng := rand.New(rand.NewPCG(seed, 11))
		n := 1 + rng.IntN(30)
		terms := oddTerms(rng, n)
		y := oddNumbers(rng, n)
		if s, err := FitStrata(n, terms, terms.Block, Quantities(y)); err == nil {
			for _, stratum := range s {
				if stratum.Err == nil {
					demandNumbers(t, rng, leastSquares(stratum), stratum.Families())
				}
			}
		}
		if e, err := BetweenBins(n, terms, Quantities(y)); err == nil && e.OK() {
			demandEstimate(t, "between bins", e)
		}
	})
}

func demandNumbers(t *testing.T, rng *rand.Rand, f *Fit, families []Family) {
	t.Helper()
	for _, c := range must(f.Coefficients()) {
		if c.OK() {
			demandEstimate(t, c.Name(), c.Estimate)
		}
		if c.HC3OK && c.HC3.OK() {
			demandEstimate(t, c.Name()+" robust", c.HC3)
		}
	}
	d := f.Design
	cells := d.Combinations(d.Treatments())
	tests := must(f.Partial())
	for _, slope := range EqualSlopes(f) {
		tests = append(tests, slope.Test)
	}
	for _, test := range append(tests, f.LackOfFit(), BrownForsythe(f.Residuals, cells), Welch(grouped(f.Y, cells))) {
		if test.OK && !(test.Value >= 0 && !math.IsInf(test.Value, 0) && test.P >= 0 && test.P <= 1 && test.DF[0] > 0 && test.DF[1] > 0) {
			t.Errorf("%+v", test)
		}
	}
	for _, family := range families {
		for _, p := range must(Compare(f, d, family)).Pairs {
			demandPair(t, p)
		}
	}
	for _, p := range GamesHowell(grouped(f.Y, cells)) {
		demandPair(t, p)
	}
	for _, s := range f.Suspects() {
		if !(math.Abs(s.Studentized) < math.Inf(1)) {
			t.Errorf("%+v", s)
		}
	}
	for _, test := range Redeal(f, d.Treatments(), NewShuffle(cells, nil).Deal, 49, 1) {
		if !(test.P >= 0.02 && test.P <= 1) {
			t.Errorf("%+v", test)
		}
	}
	row, column := make([]int, d.N), make([]int, d.N)
	for i := range row {
		row[i], column[i] = rng.IntN(4), rng.IntN(4)
	}
	if a, ok := Moran(f, SharedEdges(nil, row, column), cells, 49, 1); ok && !(math.Abs(a.I) < math.Inf(1) && a.P >= 0.02 && a.P <= 1) {
		t.Errorf("%+v", a)
	}
}

func demandPair(t *testing.T, p Pair) {
	t.Helper()
	demandEstimate(t, "pair", p.Estimate)
	if !(p.P >= 0 && p.P <= 1 && p.CI95[0] <= p.CI95[1]) || math.IsInf(p.CI95[0], 0) || math.IsInf(p.CI95[1], 0) {
		t.Errorf("%+v", p)
	}
}

func demandEstimate(t *testing.T, what string, e Estimate) {
	t.Helper()
	ci, p := e.CI95(), e.P()
	if !(p >= 0 && p <= 1 && ci[0] <= ci[1]) || math.IsInf(ci[0], 0) || math.IsInf(ci[1], 0) || e.Detectable() < 0 || math.IsInf(e.Detectable(), 0) {
		t.Errorf("%s: %+v: p %g, interval %g", what, e, p, ci)
	}
}

// oddTerms makes terms that are often too many, collinear, or of one level.
func oddTerms(rng *rand.Rand, n int) Terms {
	factor := func(name string, within *Factor) Factor {
		f := Factor{Name: name, Levels: []string{"a", "b", "c", "d"}[:1+rng.IntN(4)], Of: make([]int, n)}
		of := make([]int, 8)
		for l := range of {
			of[l] = rng.IntN(len(f.Levels))
		}
		for i := range f.Of {
			f.Of[i] = rng.IntN(len(f.Levels))
			if within != nil {
				f.Of[i] = of[within.Of[i]]
			}
		}
		return f
	}
	var t Terms
	if rng.IntN(2) == 0 {
		bin := Factor{Name: "bin", Levels: []string{"1", "2", "3", "4", "5", "6", "7", "8"}, Of: make([]int, n)}
		for i := range bin.Of {
			bin.Of[i] = i * 8 / n
		}
		block := factor("block", &bin)
		t.Bin, t.Block = &bin, &block
		for k := range rng.IntN(3) {
			t.Treatments = append(t.Treatments, Treatment{factor(string(rune('X'+k)), &bin), []Unit{PerBin, PerReservoir}[rng.IntN(2)]})
		}
	}
	for k := range rng.IntN(3) {
		t.Treatments = append(t.Treatments, Treatment{factor(string(rune('A'+k)), nil), PerPlant})
	}
	t.Interactions = rng.IntN(2) == 0
	if rng.IntN(3) == 0 {
		t.Covariates = append(t.Covariates, Variable{"start_g", oddNumbers(rng, n)})
	}
	if rng.IntN(2) == 0 {
		t.Light = &Variable{"light", oddNumbers(rng, n)}
	}
	return t
}

// oddNumbers makes numbers that are often tied, constant, huge or tiny.
func oddNumbers(rng *rand.Rand, n int) []float64 {
	x := make([]float64, n)
	kind := rng.IntN(8)
	for i := range x {
		v := rng.NormFloat64()
		switch kind {
		case 0:
			v = math.Round(v)
		case 1:
			v = 0.1
		case 2:
			v *= 1e69
		case 3:
			v *= 1e-69
		case 4:
			v = 1e12 + v
		case 5:
			v = math.Exp(100 * v)
		case 6:
			v = math.Round(v / 2)
		}
		x[i] = v
	}
	return x
}
