package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// conditionalCase is what testdata/cases/conditional.R found by adding up over all
// subsets of each set.
type conditionalCase struct {
	Columns []string
	Plain   struct {
		Estimate, SE  []float64
		LogLikelihood float64 `json:"log_likelihood"`
	}
	Penalised struct {
		Estimate, SE, Chi2 []float64
		LogLikelihood      float64 `json:"log_likelihood"`
		CI95               [][2]float64
	}
}

func conditionalCases(t *testing.T) (c struct {
	Stratum, Pooled, Single conditionalCase
	Deals                   []struct {
		Rows     int
		X, Y     []float64
		Bin      []int
		Deals, P float64
	}
},
) {
	t.Helper()
	readJSON(t, &c, "cases", "conditional.json")
	return c
}

// infert, the matched data of base R: Trichopoulos et al. (1976), Br. J. of Obst.
// and Gynaec. 83:645–650, matched one case to two, and with sets pooled so that
// they hold up to four cases.
func infert(t *testing.T, sets string, columns []string) (*Design, []float64) {
	t.Helper()
	tab := readTable(t, "cases", "infert.csv")
	bin := tab.factor(t, sets)
	terms := Terms{Bin: &bin}
	for _, c := range columns {
		terms.Covariates = append(terms.Covariates, Variable{c, tab.numbers(t, c)})
	}
	y := tab.numbers(t, "case")
	d, err := NewDesign(len(y), terms)
	if err != nil {
		t.Fatal(err)
	}
	return d, y
}

func TestConditionalAgainstReference(t *testing.T) {
	t.Parallel()
	cases := conditionalCases(t)
	for sets, c := range map[string]conditionalCase{"stratum": cases.Stratum, "pooled.stratum": cases.Pooled, "pooled.stratum alone": cases.Single} {
		t.Run(sets, func(t *testing.T) {
			t.Parallel()
			name := sets
			if len(c.Columns) == 1 {
				name = "pooled.stratum"
			}
			d, y := infert(t, name, c.Columns)
			f, err := d.Conditional(y, 1)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "penalised likelihood", f.LogLikelihood, c.Penalised.LogLikelihood, 1e-9, 0)
			coefficients, err := f.Coefficients()
			if err != nil {
				t.Fatal(err)
			}
			if len(coefficients) != len(c.Columns) {
				t.Fatalf("%d coefficients", len(coefficients))
			}
			for j, k := range coefficients {
				near(t, k.Name(), k.Value, c.Penalised.Estimate[j], 1e-6, 0)
				near(t, k.Name()+" standard error", k.SE, c.Penalised.SE[j], 1e-6, 0)
				near(t, k.Name()+" chi2", k.Profile.Chi2, c.Penalised.Chi2[j], 1e-6, 0)
				near(t, k.Name()+" lower limit", k.CI95()[0], c.Penalised.CI95[j][0], 1e-5, 0)
				near(t, k.Name()+" upper limit", k.CI95()[1], c.Penalised.CI95[j][1], 1e-5, 0)
			}
			// At the maximum without penalty the score is none.
			plain := newBinwise(f.own.values(allColumns(f.own)), d.Factors[d.bin], y)
			if err := plain.stand(c.Plain.Estimate); err != nil {
				t.Fatal(err)
			}
			for j := range c.Columns {
				near(t, "score at the unpenalised maximum", plain.score[j]*c.Plain.SE[j], 0, 1e-5, 1)
				w := make([]float64, len(c.Columns))
				w[j] = 1
				_, variance := plain.spread(w)
				near(t, "its standard error", math.Sqrt(variance), c.Plain.SE[j], 1e-6, 0)
			}
		})
	}
}

// The published result of the matched data, as the reference manual of R's package
// survival prints it (from memory): 1.9859 (0.3525) and 1.4090 (0.3607).
func TestConditionalPublished(t *testing.T) {
	t.Parallel()
	d, y := infert(t, "stratum", []string{"spontaneous", "induced"})
	own, _ := d.withinBins()
	m := newBinwise(own.values(allColumns(own)), d.Factors[d.bin], y)
	if err := m.stand([]float64{1.9859, 1.4090}); err != nil {
		t.Fatal(err)
	}
	step := m.root.solve(m.root.solveT(m.score)) // what is left to go to the maximum
	near(t, "spontaneous", step[0], 0, 6e-5, 1)
	near(t, "induced", step[1], 0, 6e-5, 1)
	for j, se := range []float64{0.3525, 0.3607} {
		w := make([]float64, 2)
		w[j] = 1
		_, variance := m.spread(w)
		near(t, "standard error", math.Sqrt(variance), se, 6e-5, 1)
	}
}

// Every p here was found by listing all deals in R.
func TestDealAnswersAgainstReference(t *testing.T) {
	t.Parallel()
	tab := readTable(t, "cases", "infert.csv")
	for _, c := range conditionalCases(t).Deals {
		x, y, bin := c.X, c.Y, Factor{Name: "bin", Levels: []string{"", "1", "2", "3"}, Of: c.Bin}
		if c.Rows > 0 {
			var of []int
			all := tab.factor(t, "stratum")
			x, y = nil, nil
			for i, s := range tab.numbers(t, "stratum") {
				if s > 20 && s <= 30 {
					x, y, of = append(x, tab.numbers(t, "spontaneous")[i]), append(y, tab.numbers(t, "case")[i]), append(of, all.Of[i])
				}
			}
			bin = Factor{Name: "stratum", Levels: all.Levels, Of: of}
			if len(x) != c.Rows {
				t.Fatalf("%d rows", len(x))
			}
		}
		got := DealAnswers(bin, x, y, 1)
		if !got.Listed || !got.OK {
			t.Fatalf("%+v", got)
		}
		near(t, "p", got.P, c.P, 1e-12, 0)
		if got.Deals > c.Deals {
			t.Errorf("%g deals of %g", got.Deals, c.Deals)
		}
	}
}

// One number of each bin's plants that is 0 or 1: the deals of a bin are those of a
// table, whose exact test is that of Fisher where its probabilities lie evenly
// about the mean.
func TestDealAnswersOfTwoGroups(t *testing.T) {
	t.Parallel()
	x, y := make([]float64, 24), make([]float64, 24)
	bin := Factor{Name: "bin", Levels: []string{"a"}, Of: make([]int, 24)}
	for i := range x {
		x[i] = float64(i % 2)
		if i < 8 && i%2 == 0 || i == 1 {
			y[i] = 1
		}
	}
	s, err := ShareOf(Factor{Name: "x", Levels: []string{"0", "1"}, Of: evenly(24, 2)}, y, 1)
	if err != nil {
		t.Fatal(err)
	}
	got := DealAnswers(bin, x, y, 1)
	near(t, "p", got.P, s.Test.P, 1e-12, 0)
	near(t, "deals", got.Deals, 42504, 0, 0) // 24 over 5
}

func evenly(n, levels int) []int {
	of := make([]int, n)
	for i := range of {
		of[i] = i % levels
	}
	return of
}

// Listed and drawn deals agree within the error of the draws; what bins have in
// common with a number, and its unit, do not matter.
func TestDealAnswersDrawn(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 5))
	n := 27
	bin := Factor{Name: "bin", Levels: []string{"a", "b", "c"}, Of: evenly(n, 3)}
	x, moved, y := make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		x[i] = rng.NormFloat64()
		moved[i] = 7*x[i] + 1000*float64(bin.Of[i])
		if rng.Float64() < 0.3+0.2*x[i] {
			y[i] = 1
		}
	}
	got := DealAnswers(bin, x, y, 1)
	if !got.Listed {
		t.Fatalf("%g deals", got.Deals)
	}
	near(t, "p of moved numbers", DealAnswers(bin, moved, y, 1).P, got.P, 1e-12, 0)
	d := answerDeals{}
	for b := range 3 {
		var rows []int
		for i, of := range bin.Of {
			if of == b {
				rows = append(rows, i)
			}
		}
		if of := tilt([][]float64{x}, rows, y); of != nil {
			d.add(of)
		}
	}
	least, as := math.Abs(d.observed)-1e-9*d.size, 0
	const draws = 20000
	for range draws {
		if math.Abs(d.draw(rng)) >= least {
			as++
		}
	}
	near(t, "drawn p", float64(as)/draws, got.P, 4*math.Sqrt(got.P*(1-got.P)/draws), 1)
	few := DealAnswers(Factor{Name: "bin", Levels: []string{"a"}, Of: make([]int, 19)}, x[:19], append([]float64{1}, make([]float64, 18)...), 1)
	if few.OK || few.Deals != 19 {
		t.Errorf("19 deals gave %+v", few)
	}
}

// What a bin has in common leaves no trace: neither in light nor in the answers of a
// bin that all say the same. A column of which only such bins tell is refused.
func TestConditionalKnowsNoBins(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 8))
	const n = 60
	bin := Factor{Name: "bin", Levels: []string{"a", "b", "c", "d", "e"}, Of: evenly(n, 5)}
	light, moved, y, late := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		light[i] = 12 + rng.NormFloat64()
		moved[i] = light[i] + 5*float64(bin.Of[i])
		if bin.Of[i] < 4 && rng.Float64() < 0.4 {
			y[i] = 1
		}
		if bin.Of[i] == 4 {
			late[i] = rng.NormFloat64()
		}
	}
	fit := func(light []float64, covariates ...Variable) (*ConditionalFit, error) {
		d, err := NewDesign(n, Terms{Bin: &bin, Covariates: covariates, Light: &Variable{"light", light}})
		if err != nil {
			t.Fatal(err)
		}
		return d.Conditional(y, 1)
	}
	a, err := fit(light)
	if err != nil {
		t.Fatal(err)
	}
	b, err := fit(moved)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope", b.Beta[0], a.Beta[0], 1e-9, 0)
	near(t, "p", b.Deals.P, a.Deals.P, 1e-12, 0)
	var c *CollinearError
	if _, err := fit(light, Variable{"late", late}); !errors.As(err, &c) || !c.Mixed {
		t.Errorf("a column of a bin without yes: %v", err)
	}
}
