package model

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// testdata/cases/yesno.json: Heinze & Schemper (2002), where NV separates the
// answers and maximum likelihood diverges; Collett (1991). Computed with R 4.2.2
// (brglm2; penalised profiles by a general optimiser).
func TestLogisticAgainstReference(t *testing.T) {
	t.Parallel()
	var cases map[string]struct {
		Outcome       string
		Treatments    []string
		Covariates    []string
		LogLikelihood float64 `json:"log_likelihood"`
		Coefficients  []struct {
			Of, Level    string
			Estimate, SE float64
			Chi2, P      float64
			CI95         [2]float64
		}
	}
	readJSON(t, &cases, "cases", "yesno.json")
	if len(cases) != 2 {
		t.Fatalf("%d cases read", len(cases))
	}
	for name, c := range cases {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tab := readTable(t, "cases", name+".csv")
			terms := Terms{}
			for _, n := range c.Treatments {
				terms.Treatments = append(terms.Treatments, Treatment{tab.factor(t, n), PerPlant})
			}
			for _, n := range c.Covariates {
				terms.Covariates = append(terms.Covariates, Variable{n, tab.numbers(t, n)})
			}
			y := tab.numbers(t, c.Outcome)
			d, err := NewDesign(len(y), terms)
			if err != nil {
				t.Fatal(err)
			}
			f, err := d.Logistic(y)
			if err != nil {
				t.Fatal(err)
			}
			if c.LogLikelihood != 0 {
				near(t, "penalised likelihood", f.LogLikelihood, c.LogLikelihood, 1e-12, 0)
			}
			coefficients, err := f.Coefficients()
			if err != nil {
				t.Fatal(err)
			}
			for j, want := range c.Coefficients {
				got := coefficients[j]
				if got.Name() != want.Of || got.Level != want.Level {
					t.Fatalf("coefficient %d is %s %s, want %s %s", j, got.Name(), got.Level, want.Of, want.Level)
				}
				near(t, got.Name(), got.Value, want.Estimate, 1e-8, 0)
				near(t, got.Name()+" standard error", got.SE, want.SE, 1e-8, 0)
				if want.Chi2 != 0 {
					near(t, got.Name()+" chi2", got.Profile.Chi2, want.Chi2, 1e-8, 0)
					near(t, got.Name()+" p", got.P(), want.P, 1e-7, 0)
					near(t, got.Name()+" lower limit", got.CI95()[0], want.CI95[0], 1e-6, 0)
					near(t, got.Name()+" upper limit", got.CI95()[1], want.CI95[1], 1e-6, 0)
				}
			}
			tests, err := f.Partial()
			if err != nil {
				t.Fatal(err)
			}
			for i, test := range tests {
				near(t, "effect of "+test.Name(), test.Value, coefficients[i+1].Profile.Chi2, 1e-9, 0)
			}
		})
	}
}

// With one treatment alone and level by level, Firth's estimate of a share is
// (yes + ½)/(n + 1) [Firth 1993, section 3.4], also with no event or all.
func TestLogisticClosedForm(t *testing.T) {
	t.Parallel()
	medium := groups(3, 12)
	y := make([]float64, 36)
	yes := []int{0, 12, 5}
	for i, l := range medium.Of {
		if i%12 < yes[l] {
			y[i] = 1
		}
	}
	d, err := NewDesign(36, Terms{Treatments: []Treatment{{medium, PerPlant}}})
	if err != nil {
		t.Fatal(err)
	}
	f, err := d.Logistic(y)
	if err != nil {
		t.Fatal(err)
	}
	logit := make([]float64, 3)
	for l, a := range yes {
		logit[l] = math.Log((float64(a) + 0.5) / (12 - float64(a) + 0.5))
		near(t, "log odds", f.Linear(d.Weights(At{0, l})).Value, logit[l], 1e-9, 0)
	}
	// So are l* with all levels and with none: ln |XᵀWX| = Σ ln nπ(1−π), where
	// one share π for all is (17 + 3/2)/(36 + 3).
	var with, without float64
	common := (17 + 1.5) / (36 + 3)
	for _, a := range yes {
		a := float64(a)
		p := (a + 0.5) / 13
		with += a*math.Log(p) + (12-a)*math.Log(1-p) + math.Log(12*p*(1-p))/2
		without += a*math.Log(common) + (12-a)*math.Log(1-common) + math.Log(12*common*(1-common))/2
	}
	near(t, "penalised likelihood", f.LogLikelihood, with, 1e-12, 0)
	tests, err := f.Partial()
	if err != nil || len(tests) != 1 || tests[0].DF != [2]float64{2, math.Inf(1)} {
		t.Fatalf("%+v, %v", tests, err)
	}
	near(t, "chi2", tests[0].Value, 2*(with-without), 1e-10, 0)
	near(t, "p", tests[0].P, math.Exp(without-with), 1e-10, 0) // of χ² on two degrees of freedom
	pairs := must(Compare(f, d, d.Families()[0])).Pairs
	if len(pairs) != 3 {
		t.Fatalf("%d pairs", len(pairs))
	}
	for _, p := range pairs {
		w := slices.Clone(d.Weights(At{0, p.A}))
		for j, v := range d.Weights(At{0, p.B}) {
			w[j] -= v
		}
		own, err := f.Profile(w, 1-0.05/3)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "log odds ratio", own.Value, logit[p.A]-logit[p.B], 1e-9, 0)
		if p.PSingle != own.P || p.P != math.Min(1, 3*p.PSingle) {
			t.Errorf("p %v of single %v, by the profile %v", p.P, p.PSingle, own.P)
		}
		// Level 0 has no yes and level 1 nothing else: their own sides are open.
		want := own.Limits
		if p.A == 0 || p.B == 1 {
			want[0] = math.Inf(-1)
		}
		if p.A == 1 || p.B == 0 {
			want[1] = math.Inf(1)
		}
		if p.CI95 != want || !p.Eventless || (p.P < 0.05) != (p.CI95[0] > 0 || p.CI95[1] < 0) {
			t.Errorf("interval %v of levels %d and %d, p %v, want %v", p.CI95, p.A, p.B, p.P, want)
		}
	}
}

// A linear function's profile must not depend on how the model is written.
func TestLogisticProfileIsInvariant(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(5, 6))
	medium := groups(3, 20)
	x, y := make([]float64, 60), make([]float64, 60)
	for i := range y {
		x[i] = rng.NormFloat64()
		if rng.Float64() < 0.3+0.2*float64(medium.Of[i]) {
			y[i] = 1
		}
	}
	turned := Factor{Name: medium.Name, Levels: []string{"peat", "bark", "coir"}}
	for _, l := range medium.Of {
		turned.Of = append(turned.Of, (l+1)%3)
	}
	var profiles []Profile
	for k, factor := range []Factor{medium, turned} {
		d, err := NewDesign(60, Terms{Treatments: []Treatment{{factor, PerPlant}}, Covariates: []Variable{{"x", x}}})
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Logistic(y)
		if err != nil {
			t.Fatal(err)
		}
		// Peat against coir: level 2 against 1, then 0 against 2.
		a, b := [2]int{2, 0}[k], [2]int{1, 2}[k]
		w := d.Weights(At{0, a})
		for j, v := range d.Weights(At{0, b}) {
			w[j] -= v
		}
		p, err := f.Profile(w, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		profiles = append(profiles, p)
	}
	a, b := profiles[0], profiles[1]
	near(t, "estimate", a.Value, b.Value, 1e-8, 1)
	near(t, "standard error", a.SE, b.SE, 1e-8, 1)
	near(t, "chi2", a.Chi2, b.Chi2, 1e-8, 1)
	near(t, "lower", a.Limits[0], b.Limits[0], 1e-7, 1)
	near(t, "upper", a.Limits[1], b.Limits[1], 1e-7, 1)
}

func TestLogisticErrors(t *testing.T) {
	t.Parallel()
	d, err := NewDesign(12, Terms{Covariates: []Variable{{"x", []float64{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}}}})
	if err != nil {
		t.Fatal(err)
	}
	few := []float64{1, 1, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	if _, err := d.Logistic(few); !errors.Is(err, ErrRare) {
		t.Errorf("three answers: %v", err)
	}
	none := make([]float64, 12)
	if _, err := d.Logistic(none); !errors.Is(err, ErrRare) {
		t.Errorf("no answer: %v", err)
	}
	bad := []float64{1, 1, 1, 1, 0.5, 0, 0, 0, 0, 0, 0, 0}
	if _, err := d.Logistic(bad); err == nil {
		t.Error("half an answer passed")
	}
	// Complete separation along the covariate stays finite.
	apart := []float64{0, 0, 0, 0, 0, 0, 1, 1, 1, 1, 1, 1}
	f, err := d.Logistic(apart)
	if err != nil {
		t.Fatal(err)
	}
	c, err := f.Coefficients()
	if err != nil {
		t.Fatal(err)
	}
	if p := c[1]; !(p.Value > 0 && p.CI95()[0] > 0 && p.CI95()[1] < 50 && p.P() < 0.01) {
		t.Errorf("separated: %+v", p)
	}
}

func BenchmarkLogistic(b *testing.B) {
	rng := rand.New(rand.NewPCG(3, 4))
	medium := groups(6, 27)
	x, y := make([]float64, 162), make([]float64, 162)
	for i := range y {
		x[i] = 10 + 3*rng.Float64()
		if rng.Float64() < 0.3+0.05*float64(medium.Of[i]) {
			y[i] = 1
		}
	}
	d, err := NewDesign(162, Terms{Treatments: []Treatment{{medium, PerPlant}}, Light: &Variable{"light", x}})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		f, err := d.Logistic(y)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := f.Partial(); err != nil {
			b.Fatal(err)
		}
		if _, err := f.Coefficients(); err != nil {
			b.Fatal(err)
		}
		if _, err := Compare(f, d, d.Families()[0]); err != nil {
			b.Fatal(err)
		}
	}
}
