package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"parstead/correlate/dist"
)

// countCase is an entry of testdata/cases/counts.json, computed with R 4.2.2
// (glm; glm.nb of MASS; Anova of car; emmeans). Standard errors there are those
// of φ = 1.
type countCase struct {
	Outcome      string
	Treatments   []string
	Dispersion   float64
	Deviance     float64
	ResidualDF   int `json:"residual_df"`
	Coefficients []coefficientCase
	Effects      []effectCase
	AdjustedMean map[string]float64 `json:"adjusted_mean"`

	NegativeBinomial struct {
		Size         float64
		Coefficients []coefficientCase
		Effects      []effectCase
	} `json:"negative_binomial"`
}

type coefficientCase struct {
	Of, Level   string
	Estimate, P float64
	SE          float64
}

type effectCase struct {
	Effect   string
	Value, P float64
	DF       []float64
}

func TestCountsAgainstReference(t *testing.T) {
	t.Parallel()
	var cases map[string]countCase
	readJSON(t, &cases, "cases", "counts.json")
	if len(cases) != 2 {
		t.Fatalf("%d cases read", len(cases))
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tab := readTable(t, "cases", name+".csv")
			terms := Terms{}
			for _, treatment := range c.Treatments {
				terms.Treatments = append(terms.Treatments, Treatment{tab.factor(t, treatment), PerPlant})
			}
			y := tab.numbers(t, c.Outcome)
			d, err := NewDesign(len(y), terms)
			if err != nil {
				t.Fatal(err)
			}
			f, err := d.Count(y, nil)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "dispersion", f.Dispersion, c.Dispersion, 1e-9, 0)
			near(t, "deviance", f.Deviance, c.Deviance, 1e-11, 0)
			if f.DF != c.ResidualDF {
				t.Errorf("df %d, want %d", f.DF, c.ResidualDF)
			}
			for j, got := range must(f.Coefficients()) {
				want := c.Coefficients[j]
				if got.Name() != want.Of || got.Level != want.Level {
					t.Fatalf("coefficient %d is %s %s, want %s %s", j, got.Name(), got.Level, want.Of, want.Level)
				}
				near(t, got.Name()+" "+got.Level, got.Value, want.Estimate, 1e-10, 1)
				near(t, "its standard error", got.SE, want.SE*math.Sqrt(c.Dispersion), 1e-10, 0)
			}
			tests, err := f.Partial()
			if err != nil {
				t.Fatal(err)
			}
			for i, got := range tests {
				want := c.Effects[i]
				if got.Name() != want.Effect || got.DF[0] != want.DF[0] || got.DF[1] != want.DF[1] {
					t.Errorf("test %d is %+v, want %+v", i, got, want)
				}
				near(t, "F "+got.Name(), got.Value, want.Value, 1e-10, 0)
				near(t, "p "+got.Name(), got.P, want.P, 1e-9, 0)
			}
			if c.AdjustedMean != nil {
				for l, level := range d.Factors[0].Levels {
					e := f.Linear(d.Weights(At{0, l}))
					near(t, "adjusted mean "+level, math.Exp(e.Value), c.AdjustedMean[level], 1e-12, 0)
				}
			}
			checkNegativeBinomial(t, name, f, c)
		})
	}
}

// checkNegativeBinomial sets the negative binomial model beside the reference's.
func checkNegativeBinomial(t *testing.T, name string, f *CountFit, c countCase) {
	t.Helper()
	nb, err := f.NegativeBinomial()
	if err != nil {
		t.Fatal(err)
	}
	tolerance := 1e-5
	if name == "quine" {
		tolerance = 1e-7
	}
	near(t, "size", nb.Size, c.NegativeBinomial.Size, tolerance, 0)
	for j, got := range must(nb.Coefficients()) {
		want := c.NegativeBinomial.Coefficients[j]
		near(t, "negative binomial "+got.Name()+" "+got.Level, got.Value, want.Estimate, 1e-7, 0)
		near(t, "its standard error", got.SE, want.SE, 1e-5, 0)
		near(t, "its p", got.P(), want.P, 1e-4, 1e-12)
	}
	chi, err := nb.Partial()
	if err != nil {
		t.Fatal(err)
	}
	for i, got := range chi {
		want := c.NegativeBinomial.Effects[i]
		near(t, "chi2 "+got.Name(), got.Value, want.Value, 1e-5, 0)
		if got.Name() != want.Effect || got.DF[0] != want.DF[0] {
			t.Errorf("test %d is %+v, want %+v", i, got, want)
		}
	}
}

// groups makes one treatment of k levels, n rows each.
func groups(k, n int) Factor {
	f := Factor{Name: "medium", Levels: []string{"bark", "coir", "peat", "pumice", "sand", "wool"}[:k]}
	for l := range k {
		for range n {
			f.Of = append(f.Of, l)
		}
	}
	return f
}

// With one treatment everything has a closed form: means, deviance and χ².
func TestCountClosedForm(t *testing.T) {
	t.Parallel()
	medium := groups(3, 4)
	y := []float64{3, 5, 2, 7, 0, 1, 2, 0, 9, 14, 11, 10}
	exposure := []float64{1, 2, 1, 2, 1, 1, 2, 2, 3, 4, 3, 3}
	d, err := NewDesign(len(y), Terms{Treatments: []Treatment{{medium, PerPlant}}})
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Count(y, exposure)
	if err != nil {
		t.Fatal(err)
	}
	counts, exposures := Totals(medium, y, exposure)
	var total, all float64
	for l := range counts {
		near(t, "rate", math.Exp(f.Linear(d.Weights(At{0, l})).Value), counts[l]/exposures[l], 1e-11, 0)
		total += counts[l]
		all += exposures[l]
	}
	// Deviance among groups: 2 Σ y ln(rate/overall rate).
	var drop, chi2 float64
	for l := range counts {
		drop += 2 * counts[l] * math.Log(counts[l]/exposures[l]/(total/all))
	}
	for i, l := range medium.Of {
		mu := counts[l] / exposures[l] * exposure[i]
		chi2 += (y[i] - mu) * (y[i] - mu) / mu
	}
	near(t, "dispersion", f.Dispersion, chi2/9, 1e-10, 0)
	tests, err := f.Partial()
	if err != nil {
		t.Fatal(err)
	}
	near(t, "F", tests[0].Value, drop/2/(chi2/9), 1e-9, 0)
	if _, plants := Totals(medium, y, nil); plants[0] != 4 || plants[2] != 4 {
		t.Errorf("plants %v", plants)
	}
}

func TestCountLevelWithoutEvents(t *testing.T) {
	t.Parallel()
	for _, empty := range []int{0, 1, 2} { // the reference, and others
		medium := groups(3, 6)
		y := []float64{3, 5, 2, 7, 4, 4, 6, 9, 7, 5, 8, 3, 9, 14, 11, 10, 12, 8}
		for i, l := range medium.Of {
			if l == empty {
				y[i] = 0
			}
		}
		d, err := NewDesign(len(y), Terms{Treatments: []Treatment{{medium, PerPlant}}})
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Count(y, nil)
		if err != nil {
			t.Fatal(err)
		}
		var chi2 float64
		for l := range 3 {
			e := f.Linear(d.Weights(At{0, l}))
			if l == empty {
				if e.OK() || !math.IsInf(e.Value, -1) {
					t.Errorf("empty %d: mean %+v", empty, e)
				}
				continue
			}
			counts, _ := Totals(medium, y, nil)
			m := counts[l] / 6
			near(t, "mean", math.Exp(e.Value), m, 1e-11, 0)
			for i, of := range medium.Of {
				if of == l {
					chi2 += (y[i] - m) * (y[i] - m) / m
				}
			}
		}
		near(t, "dispersion", f.Dispersion, chi2/10, 1e-10, 0) // of the twelve rows that have a mean
		tests, err := f.Partial()
		if err != nil || !tests[0].OK {
			t.Fatalf("empty %d: %+v, %v", empty, tests, err)
		}
		if tests[0].Statistic != Pairs {
			t.Errorf("empty %d: %+v", empty, tests[0])
		}

		means := must(Compare(f, d, d.Families()[0]))
		least := 1.0
		for _, p := range means.Pairs {
			if least = min(least, p.P); p.A != empty && p.B != empty {
				near(t, "p", p.P, dist.NewStudentizedRange(3, 10).Survival(math.Sqrt2*math.Abs(p.Value)/p.SE), 1e-12, 0) // of three levels
				continue
			}
			near(t, "exact p", p.P, 3*2/924., 1e-12, 0) // six rows with events of twelve stand on one side in one way of C(12, 6)
			if math.Abs(p.CI95[0]) != math.Inf(1) && math.Abs(p.CI95[1]) != math.Inf(1) {
				t.Errorf("empty %d: %+v", empty, p)
			}
		}
		if near(t, "p", tests[0].P, least, 0, 0); len(means.Pairs) != 3 {
			t.Errorf("empty %d: pairs %+v", empty, means.Pairs)
		}
		nb, err := f.NegativeBinomial()
		if err == nil {
			if e := nb.Linear(d.Weights(At{0, empty})); e.OK() {
				t.Errorf("negative binomial mean %+v", e)
			}
		} else if !errors.Is(err, ErrUnlikely) {
			t.Error(err)
		}
	}
}

// Two treatments with one empty level each, and a covariate.
func TestCountTwoEmptyLevels(t *testing.T) {
	t.Parallel()
	a, b := groups(3, 12), Factor{Name: "feed", Levels: []string{"none", "some", "much"}}
	x := make([]float64, 36)
	y := make([]float64, 36)
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range y {
		b.Of = append(b.Of, i%3)
		x[i] = rng.NormFloat64()
		if a.Of[i] != 0 && b.Of[i] != 2 {
			y[i] = float64(1 + rng.IntN(6))
		}
	}
	d, err := NewDesign(36, Terms{
		Treatments: []Treatment{{a, PerPlant}, {b, PerPlant}}, Interactions: true,
		Covariates: []Variable{{"start", x}},
	})
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Count(y, nil)
	if err != nil {
		t.Fatal(err)
	}
	tests, err := f.Partial()
	if err != nil {
		t.Fatal(err)
	}
	for _, test := range tests {
		if test.Eventless && (test.Kind == KindInteraction) == test.OK {
			t.Errorf("%+v", test)
		}
		if test.Kind != KindInteraction && !test.OK || math.IsNaN(test.Value) || math.IsInf(test.Value, 0) || test.Value < 0 || !(test.P >= 0 && test.P <= 1) {
			t.Errorf("%+v", test)
		}
	}
	for _, c := range must(f.Coefficients()) {
		if c.OK() != (c.Name() == "start") && c.SE > 10 {
			t.Errorf("%+v", c)
		}
	}
}

// A treatment set per bin is tested among the bins' totals: by hand, the
// quasi-likelihood of six totals in two levels.
func TestCountInStrata(t *testing.T) {
	t.Parallel()
	bin := groups(6, 4)
	bin.Name = "bin"
	floods := Factor{Name: "floods", Levels: []string{"once", "twice"}}
	medium := Factor{Name: "medium", Levels: []string{"bark", "coir"}}
	y := []float64{3, 1, 2, 4, 5, 2, 2, 3, 1, 0, 2, 2, 6, 4, 7, 5, 4, 4, 3, 6, 9, 5, 7, 8}
	for i := range y {
		floods.Of = append(floods.Of, bin.Of[i]/3)
		medium.Of = append(medium.Of, i%2)
	}
	terms := Terms{Bin: &bin, Treatments: []Treatment{{floods, PerBin}, {medium, PerPlant}}}
	s, err := FitStrata(len(y), terms, nil, Counts{Y: y})
	if err != nil || len(s) != 2 || s[0].Err != nil || s[1].Err != nil {
		t.Fatalf("%+v, %v", s, err)
	}
	totals := []float64{10, 12, 5, 22, 17, 29}
	var chi2, drop float64
	sums := [2]float64{27, 68}
	for b, total := range totals {
		near(t, "total", s[1].Response.(unitCounts).Y[b], total, 0, 0)
		near(t, "plants", s[1].Response.(unitCounts).Exposure[b], 4, 0, 0)
		mu := sums[b/3] / 3
		chi2 += (total - mu) * (total - mu) / mu
	}
	for _, sum := range sums {
		drop += 2 * sum * math.Log(sum/47.5)
	}
	tests := s[1].Tests
	if len(tests) != 1 || tests[0].DF != [2]float64{1, 4} {
		t.Fatalf("%+v", tests)
	}
	near(t, "F among bins", tests[0].Value, drop/(chi2/4), 1e-10, 0)
	means := must(Compare(s[1].Model, s[1].Design, s[1].Families()[0]))
	near(t, "rate per plant", math.Exp(means.Adjusted[1].Value), 68.0/12, 1e-11, 0)
	if means.Unit != PerBin || len(means.Pairs) != 1 {
		t.Errorf("%+v", means)
	}
	plant := s[0].Tests
	if len(plant) != 2 || plant[1].DF != [2]float64{1, 17} {
		t.Errorf("plant stratum: %+v", plant)
	}
	// One bin per level: described, not tested.
	for i := range y {
		bin.Of[i] = i / 12
		floods.Of[i] = i / 12
	}
	s, err = FitStrata(len(y), terms, nil, Counts{Y: y})
	if err != nil || len(s) != 2 || !errors.Is(s[1].Err, ErrTooFew) {
		t.Errorf("one bin per level: %+v, %v", s, err)
	}
}

// Four bins of which two and two have totals that are alike, or but for one plantlet,
// tell little of how far bins differ: they are taken to differ at least by what their plants
// do (φ of these by hand, where plants of a bin differ), and at least by chance.
func TestBinsDifferAtLeastByTheirPlants(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		y     []float64
		least float64
	}{
		// Σ (y − μ)²/μ by bins, over 12 degrees of freedom.
		{[]float64{2, 8, 5, 5, 2, 8, 5, 6, 6, 5, 2, 8, 6, 5, 8, 1}, (18/5.0 + 18.75/5.25 + 18.75/5.25 + 26/5.0) / 12},
		{[]float64{5, 5, 5, 6, 5, 5, 5, 5, 5, 5, 5, 5, 6, 5, 5, 5}, 1},
		{[]float64{5, 5, 5, 6, 5, 5, 5, 5, 5, 5, 5, 6, 5, 5, 5, 5}, 1},
	} {
		bin := groups(4, 4)
		bin.Name = "bin"
		lids := Factor{Name: "lids", Levels: []string{"open", "lid"}}
		for _, b := range bin.Of {
			lids.Of = append(lids.Of, b%2)
		}
		s, err := FitStrata(16, Terms{Bin: &bin, Treatments: []Treatment{{lids, PerBin}}}, nil, Counts{Y: c.y})
		if err != nil || len(s) != 2 || s[1].Err != nil {
			t.Fatalf("%+v, %v", s, err)
		}
		f := s[1].Model.(*CountFit)
		near(t, "dispersion", f.Dispersion, c.least, 1e-12, 0)
		if !f.AtLeast {
			t.Error("it is not said that bins differ less")
		}
		pair := must(Compare(f, s[1].Design, s[1].Families()[0])).Pairs[0]
		totals, _ := Totals(lids, c.y, nil)
		near(t, "se", pair.SE, math.Sqrt(c.least*(1/totals[0]+1/totals[1])), 1e-12, 0)
		if pair.DF != 2 {
			t.Errorf("%+v", pair)
		}
	}
}

func TestCountErrors(t *testing.T) {
	t.Parallel()
	medium := groups(2, 3)
	d, err := NewDesign(6, Terms{Treatments: []Treatment{{medium, PerPlant}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		y, exposure []float64
		want        error
	}{
		{[]float64{0, 0, 0, 0, 0, 0}, nil, ErrNoEvents},
		{[]float64{2, 2, 2, 2, 2, 2}, nil, ErrNoSpread},
		{[]float64{2, -1, 2, 2, 2, 2}, nil, nil},
		{[]float64{2, 1.5, 2, 2, 2, 2}, nil, nil},
		{[]float64{2, math.NaN(), 2, 2, 2, 2}, nil, nil},
		{[]float64{2, 1e300, 2, 2, 2, 2}, nil, nil},
		{[]float64{2, 1, 2, 2, 2, 2}, []float64{1, 1, 0, 1, 1, 1}, nil},
	} {
		if _, err := d.Count(c.y, c.exposure); err == nil || c.want != nil && !errors.Is(err, c.want) {
			t.Errorf("%v per %v: %v, want %v", c.y, c.exposure, err, c.want)
		}
	}
	f, err := d.Count([]float64{2, 2, 2, 5, 5, 5}, nil)
	if err != nil || !f.Exact {
		t.Fatalf("constant within levels: %+v, %v", f, err)
	}
	if tests, err := f.Partial(); err != nil || tests[0].OK {
		t.Errorf("constant within levels: %+v, %v", tests, err)
	}
	if e := f.Linear(d.Weights(At{0, 1})); e.OK() || math.Abs(math.Exp(e.Value)-5) > 1e-9 {
		t.Errorf("constant within levels: %+v", e)
	}
	f, err = d.Count([]float64{4, 5, 4, 5, 5, 4}, nil)
	if err != nil || f.Dispersion >= 1 {
		t.Fatalf("leaves: %v, %v", f, err)
	}
	if _, err := f.NegativeBinomial(); !errors.Is(err, ErrUnlikely) {
		t.Errorf("underdispersed: %v", err)
	}
	// Counts of very different size, and steep covariates, still converge.
	x := []float64{0, 1, 2, 3, 4, 5}
	steep, err := NewDesign(6, Terms{Covariates: []Variable{{"x", x}}})
	if err != nil {
		t.Fatal(err)
	}
	f, err = steep.Count([]float64{0, 0, 1, 110, 15000, 2e6}, nil)
	if err != nil || !must(f.Coefficients())[1].OK() {
		t.Fatalf("steep: %v", err)
	}
	near(t, "steep slope", must(f.Coefficients())[1].Value, 4.89, 0.01, 0)
}

// All events at one end of a covariate: the slope has no finite value.
func TestCountSeparatedCovariate(t *testing.T) {
	t.Parallel()
	d, err := NewDesign(6, Terms{Covariates: []Variable{{"x", []float64{0, 1, 2, 3, 4, 4}}}})
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Count([]float64{0, 0, 0, 0, 5, 7}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if c := must(f.Coefficients()); c[1].OK() || !math.IsInf(c[1].Value, 1) || !math.IsInf(c[0].Value, -1) {
		t.Errorf("coefficients %+v", c)
	}
}

func BenchmarkCounts(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 4))
	medium := groups(6, 27)
	bin := Factor{Name: "bin", Levels: []string{"lower", "upper"}}
	x, y := make([]float64, 162), make([]float64, 162)
	for i := range y {
		bin.Of = append(bin.Of, i%2)
		x[i] = 10 + 3*rng.Float64()
		y[i] = float64(rng.IntN(6 + medium.Of[i]))
	}
	for b.Loop() {
		d, err := NewDesign(162, Terms{Bin: &bin, Treatments: []Treatment{{medium, PerPlant}}, Light: &Variable{"light", x}})
		if err != nil {
			b.Fatal(err)
		}
		f, err := d.Count(y, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := f.Partial(); err != nil {
			b.Fatal(err)
		}
		if _, err := f.NegativeBinomial(); err != nil {
			b.Fatal(err)
		}
	}
}
