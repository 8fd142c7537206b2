package model

import (
	"math"
	"slices"
	"strings"
	"testing"

	"parstead/correlate/dist"
)

// published is one data set of testdata/cases with the results that general
// statistics software gives for it; sources stand in the files.
type published struct {
	File string
	Fits []publishedFit
}

type publishedFit struct {
	Fit        string
	Outcome    string
	Block, Bin string
	Treatments []struct {
		Name   string
		SetPer Unit `json:"set_per"`
	}
	Interactions bool
	Covariates   []string
	RowsDropped  []int `json:"rows_dropped"`
	Tolerance    float64

	ResidualSD *float64 `json:"residual_sd"`
	ResidualDF int      `json:"residual_df"`
	Groups     []struct {
		Levels       map[string]string
		N            int
		Mean, SD     *float64
		AdjustedMean *float64 `json:"adjusted_mean"`
		SE           *float64
		CI95         *[2]float64
		Letters      string
	}
	Effects      []publishedTest
	Coefficients []struct {
		Of, Level, Against string
		Estimate           float64
		SE, P              *float64
		CI95               *[2]float64
		SEHC3              *float64 `json:"se_hc3"`
		PHC3               *float64 `json:"p_hc3"`
	}
	Comparisons   []publishedPair
	Checks        []publishedTest
	UnequalSpread *struct {
		Welch       publishedTest
		GamesHowell []publishedPair `json:"games_howell"`
	} `json:"unequal_spread"`
	Rows []struct {
		Row                             int
		Residual, Leverage, Studentized float64
	}
}

type publishedTest struct {
	Effect, Check, Of string
	Value, P          float64
	DF                []float64
	Unit              Unit
}

type publishedPair struct {
	Treatment, A, B string
	Difference      float64
	SE              *float64
	CI95            [2]float64
	P               float64
	PSingle         *float64 `json:"p_single"`
	CITolerance     float64  `json:"ci95_tolerance"`
	PTolerance      float64  `json:"p_tolerance"`
	Unit            Unit
}

var publishedNames = []string{"plantgrowth", "iris", "npk", "cabbages", "anorexia", "cars", "sleep", "orchardsprays", "oats", "co2", "orange"}

func TestPublishedDataSets(t *testing.T) {
	t.Parallel()
	for _, name := range publishedNames {
		var c published
		readJSON(t, &c, "cases", name+".json")
		if len(c.Fits) == 0 {
			t.Fatalf("%s: no fits", name)
		}
		for _, fit := range c.Fits {
			t.Run(name+"/"+fit.Fit, func(t *testing.T) {
				t.Parallel()
				fit.check(t, readTable(t, "cases", c.File))
			})
		}
	}
}

// terms builds the model's terms from the table without the dropped rows.
func (p publishedFit) terms(tb testing.TB, tab table) (Terms, []float64) {
	tb.Helper()
	for name, cells := range tab {
		var kept []string
		for i, c := range cells {
			if !slices.Contains(p.RowsDropped, i+1) {
				kept = append(kept, c)
			}
		}
		tab[name] = kept
	}
	terms := Terms{Interactions: p.Interactions}
	if p.Block != "" {
		f := tab.factor(tb, p.Block)
		terms.Block = &f
	}
	if p.Bin != "" {
		f := tab.factor(tb, p.Bin)
		terms.Bin = &f
	}
	for _, tr := range p.Treatments {
		terms.Treatments = append(terms.Treatments, Treatment{tab.factor(tb, tr.Name), tr.SetPer})
	}
	for _, c := range p.Covariates {
		terms.Covariates = append(terms.Covariates, Variable{c, tab.numbers(tb, c)})
	}
	return terms, tab.numbers(tb, p.Outcome)
}

func (p publishedFit) check(t *testing.T, tab table) {
	t.Helper()
	terms, y := p.terms(t, tab)
	strata, err := FitStrata(len(y), terms, nil, Quantities(y))
	if err != nil {
		t.Fatal(err)
	}
	f := leastSquares(strata[0])
	tolerance := p.Tolerance
	if tolerance == 0 {
		tolerance = 1e-12
	}
	size := maxAbs(y)
	if p.ResidualSD != nil {
		near(t, "residual sd", f.SD(), *p.ResidualSD, tolerance, 0)
		if f.DF != p.ResidualDF {
			t.Errorf("residual df %d, want %d", f.DF, p.ResidualDF)
		}
	}
	tests := map[string]Test{}
	for _, test := range must(f.Partial()) {
		tests[test.Name()] = test
	}
	if len(strata) > 1 {
		if strata[1].Err != nil {
			t.Fatal(strata[1].Err)
		}
		for _, test := range strata[1].Tests {
			tests[test.Name()] = test
		}
	}
	for _, want := range p.Effects {
		p.test(t, tests[want.Effect], want, tolerance)
	}
	p.coefficients(t, f, tolerance, size)
	p.means(t, strata, size)
	for _, want := range p.Checks {
		p.otherCheck(t, f, want)
	}
	if u := p.UnequalSpread; u != nil {
		groups := grouped(y, terms.Treatments[0].Of)
		p.test(t, Welch(groups), u.Welch, 1e-11)
		pairs := GamesHowell(groups)
		for _, want := range u.GamesHowell {
			levels := terms.Treatments[0].Levels
			i := slices.IndexFunc(pairs, func(p Pair) bool { return levels[p.A] == want.A && levels[p.B] == want.B })
			p.pair(t, pairs[i], want, size)
		}
	}
	studentized := f.Studentized()
	for _, r := range p.Rows {
		near(t, "residual", f.Residuals[r.Row-1], r.Residual, 1e-11, size)
		near(t, "leverage", f.Hat[r.Row-1], r.Leverage, 1e-12, 0)
		near(t, "studentised", studentized[r.Row-1], r.Studentized, 1e-10, 1)
	}
}

func (p publishedFit) test(t *testing.T, got Test, want publishedTest, tolerance float64) {
	t.Helper()
	what := want.Effect + want.Check + " " + want.Of
	if !got.OK {
		t.Errorf("%s: absent", what)
		return
	}
	if near(t, what+" p", got.P, want.P, max(1e-9, 100*tolerance), 0); got.Statistic == Pairs {
		return // balanced over the covariate, so that its slope adds nothing; one contrast has the F test's p
	}
	near(t, what+" value", got.Value, want.Value, tolerance, 0)
	for i, df := range want.DF {
		near(t, what+" df", got.DF[i], df, 1e-11, 0)
	}
}

func (p publishedFit) coefficients(t *testing.T, f *Fit, tolerance, size float64) {
	t.Helper()
	all := must(f.Coefficients())
	for _, want := range p.Coefficients {
		i := slices.IndexFunc(all, func(c Coefficient) bool {
			return c.Name() == want.Of && c.Level == want.Level && c.Against == want.Against
		})
		if i < 0 {
			t.Errorf("no coefficient of %s %s", want.Of, want.Level)
			continue
		}
		c, what := all[i], want.Of+" "+want.Level
		near(t, what, c.Value, want.Estimate, tolerance, size*1e-2)
		if want.SE != nil {
			near(t, what+" se", c.SE, *want.SE, tolerance, 0)
			near(t, what+" p", c.P(), *want.P, max(1e-9, 100*tolerance), 0)
		}
		if want.CI95 != nil {
			near(t, what+" low", c.CI95()[0], want.CI95[0], 1e-11, size*1e-2)
			near(t, what+" high", c.CI95()[1], want.CI95[1], 1e-11, size*1e-2)
		}
		if want.SEHC3 != nil {
			if !c.HC3OK {
				t.Fatalf("%s: no robust standard error", what)
			}
			near(t, what+" robust se", c.HC3.SE, *want.SEHC3, tolerance, 0)
			near(t, what+" robust p", c.HC3.P(), *want.PHC3, 1e-9, 0)
		}
	}
}

// means checks groups and comparisons.
func (p publishedFit) means(t *testing.T, strata []*Stratum, size float64) {
	t.Helper()
	type compared struct {
		d *Design
		Means
	}
	families := map[string]compared{}
	for _, s := range strata {
		for _, family := range s.Families() {
			families[family.Name()] = compared{s.Design, must(Compare(s.Model, s.Design, family))}
		}
	}
	for _, want := range p.Groups {
		var names, levels []string
		for _, tr := range p.Treatments {
			if l, ok := want.Levels[tr.Name]; ok {
				names, levels = append(names, tr.Name), append(levels, l)
			}
		}
		m := families[strings.Join(names, " × ")]
		what := strings.Join(levels, ", ")
		i := slices.IndexFunc(m.Cells, func(cell []At) bool { return m.d.Levels(cell) == what })
		if i < 0 {
			t.Errorf("no group %s", what)
			continue
		}
		if want.AdjustedMean != nil {
			near(t, what+" adjusted mean", m.Adjusted[i].Value, *want.AdjustedMean, 1e-12, size)
		}
		if want.SE != nil {
			near(t, what+" se", m.Adjusted[i].SE, *want.SE, 1e-10, 0)
			near(t, what+" low", m.Adjusted[i].CI95()[0], want.CI95[0], 1e-10, size)
			near(t, what+" high", m.Adjusted[i].CI95()[1], want.CI95[1], 1e-10, size)
		}
		if want.Mean != nil {
			rows := m.d.Rows(m.Cells[i])
			var values []float64
			for _, r := range rows {
				values = append(values, strata[0].Response.(Quantities)[r])
			}
			raw, sd := MeanSD(values)
			near(t, what+" mean", raw, *want.Mean, 1e-14, size)
			near(t, what+" sd", sd, *want.SD, 1e-12, 0)
			if len(rows) != want.N {
				t.Errorf("%s: n %d, want %d", what, len(rows), want.N)
			}
		}
		if want.Letters != "" && m.Letters[i] != want.Letters {
			t.Errorf("%s: letters %s, want %s", what, m.Letters[i], want.Letters)
		}
	}
	for _, want := range p.Comparisons {
		m := families[want.Treatment]
		i := slices.IndexFunc(m.Pairs, func(pair Pair) bool {
			return m.d.Levels(m.Cells[pair.A]) == want.A && m.d.Levels(m.Cells[pair.B]) == want.B
		})
		if i < 0 {
			t.Errorf("%s: no comparison of %s and %s", want.Treatment, want.A, want.B)
			continue
		}
		if want.Unit != "" && m.Unit != want.Unit {
			t.Errorf("%s: unit %s, want %s", want.Treatment, m.Unit, want.Unit)
		}
		p.pair(t, m.Pairs[i], want, size)
	}
}

func (p publishedFit) pair(t *testing.T, got Pair, want publishedPair, size float64) {
	t.Helper()
	what := want.Treatment + ": " + want.A + " − " + want.B
	pTolerance, ciTolerance := 1e-9, 1e-9
	if want.CITolerance > 0 { // limits by a rougher quantile
		ciTolerance = want.CITolerance
	}
	near(t, what, got.Value, want.Difference, 1e-11, size)
	if want.SE != nil {
		near(t, what+" se", got.SE, *want.SE, max(1e-10, want.PTolerance), 0)
	}
	for i := range want.CI95 {
		near(t, what+" ci95", got.CI95[i], want.CI95[i], ciTolerance, got.SE)
	}
	if want.PTolerance > 0 {
		if math.Abs(got.P-want.P) > want.PTolerance {
			t.Errorf("%s p: got %g, want %g", what, got.P, want.P)
		}
	} else if got.P > 1e-10 || want.P > 1e-10 { // both smaller is agreement
		near(t, what+" p", got.P, want.P, pTolerance, 0)
	}
	if want.PSingle != nil {
		near(t, what+" p single", got.PSingle, *want.PSingle, max(1e-9, want.PTolerance*100), 0)
	}
}

func (p publishedFit) otherCheck(t *testing.T, f *Fit, want publishedTest) {
	t.Helper()
	switch want.Check {
	case "spread":
		p.test(t, BrownForsythe(f.Residuals, f.Design.Factors[f.Design.Treatments()[0]].Of), want, 1e-10)
	case "equal_slopes":
		tests := EqualSlopes(f)
		i := slices.IndexFunc(tests, func(t SlopeTest) bool { return t.Name() == want.Of })
		p.test(t, tests[i].Test, want, 1e-10)
	case "lack_of_fit":
		p.test(t, f.LackOfFit(), want, 1e-11)
	case "normality":
		w, pValue, err := dist.ShapiroWilk(f.Residuals)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "normality", w, want.Value, 1e-6, 0)
		near(t, "normality p", pValue, want.P, 1e-4, 0)
	default:
		t.Errorf("no way to check %q", want.Check)
	}
}

// Patterns of letters made by an insert-and-absorb program of general use.
func TestLettersShareWhereNothingDiffers(t *testing.T) {
	t.Parallel()
	var patterns []struct {
		Means   []float64
		P       [][]float64
		Letters []string
	}
	readJSON(t, &patterns, "cases", "letters.json")
	if len(patterns) != 30 {
		t.Fatalf("%d patterns, want 30", len(patterns))
	}
	for n, c := range patterns {
		var differ [][2]int
		for a := range c.P {
			for b := range a {
				if c.P[a][b] < 0.05 {
					differ = append(differ, [2]int{a, b})
				}
			}
		}
		got := Letters(c.Means, differ)
		columns := map[rune]bool{}
		for _, l := range strings.Join(got, "") {
			columns[l] = true
		}
		wanted := map[rune]bool{}
		for _, l := range strings.Join(c.Letters, "") {
			wanted[l] = true
		}
		if len(columns) != len(wanted) {
			t.Errorf("pattern %d: %d letters, want %d: %v, want %v", n, len(columns), len(wanted), got, c.Letters)
		}
		largest := slices.Index(c.Means, slices.Max(c.Means))
		if !strings.HasPrefix(got[largest], "a") {
			t.Errorf("pattern %d: the largest mean has %q, want an a", n, got[largest])
		}
		for a := range got {
			for b := range a {
				if share := strings.ContainsAny(got[a], got[b]); share != (c.P[a][b] >= 0.05) {
					t.Errorf("pattern %d: groups %d and %d: share %v at p %g", n, a, b, share, c.P[a][b])
				}
			}
		}
	}
}
