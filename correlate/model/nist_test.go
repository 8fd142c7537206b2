package model

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// Certified values: NIST/ITL Statistical Reference Datasets (see
// testdata/nist/README.md). The digits demanded are those that double
// precision reaches by orthogonal factorisation.

func TestNISTLinearRegression(t *testing.T) {
	t.Parallel()
	demand := map[string]float64{"Longley": 11, "Wampler1": 9, "Wampler2": 12, "Wampler3": 9, "Filip": 7, "Norris": 12, "NoInt1": 12, "NoInt2": 12}
	var sets map[string]struct {
		File         string
		N, Degree    int
		Intercept    bool
		Coefficients []struct{ Estimate, SE string }
		ResidualSD   string `json:"residual_sd"`
		ResidualDF   int    `json:"residual_df"`
		ResidualSS   string `json:"residual_ss"`
		F            string
	}
	readJSON(t, &sets, "nist", "linear.json")
	if len(sets) != len(demand) {
		t.Fatalf("%d sets, want %d", len(sets), len(demand))
	}
	for name, set := range sets {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tab := readTable(t, "nist", set.File)
			terms := Terms{NoIntercept: !set.Intercept}
			for j := 1; j <= max(set.Degree, len(tab)-1); j++ {
				column := "x"
				if tab[column] == nil {
					column = fmt.Sprintf("x%d", j)
				}
				x := tab.numbers(t, column)
				if set.Degree > 0 {
					for i, v := range x {
						x[i] = math.Pow(v, float64(j))
					}
				}
				terms.Covariates = append(terms.Covariates, Variable{fmt.Sprintf("x%d", j), x})
			}
			d, err := NewDesign(set.N, terms)
			if err != nil {
				t.Fatal(err)
			}
			f, err := d.Fit(tab.numbers(t, "y"))
			if err != nil {
				t.Fatal(err)
			}
			if f.DF != set.ResidualDF {
				t.Errorf("df %d, want %d", f.DF, set.ResidualDF)
			}
			least := 16.0
			check := func(what string, got float64, want string) {
				least = min(least, digits(got, number(t, want)))
				if digits(got, number(t, want)) < demand[name] {
					t.Errorf("%s: got %.17g, want %s", what, got, want)
				}
			}
			for j, c := range must(f.Coefficients()) {
				check(fmt.Sprint("coefficient ", j), c.Value, set.Coefficients[j].Estimate)
				if !f.Exact {
					check(fmt.Sprint("its standard error ", j), c.SE, set.Coefficients[j].SE)
				}
			}
			if want := number(t, set.ResidualSD) == 0; f.Exact != want {
				t.Errorf("exact %v, want %v (rss %g)", f.Exact, want, f.RSS)
			}
			check("residual sd", f.SD(), set.ResidualSD)
			check("residual sum of squares", f.RSS, set.ResidualSS)
			if !f.Exact {
				explained := f.z
				if set.Intercept {
					explained = f.z[1:]
				}
				check("F", dot(explained, explained)/float64(len(explained))/f.MeanSquare(), set.F)
			}
			t.Logf("least digits %.1f", least)
		})
	}
}

func TestNISTAnalysisOfVariance(t *testing.T) {
	t.Parallel()
	demand := map[string]float64{"SiRstv": 12, "SmLs01": 12.9, "SmLs02": 12.9, "SmLs03": 12.9, "SmLs04": 10, "SmLs05": 10, "SmLs07": 4, "SmLs08": 4}
	var sets map[string]struct {
		File       string
		N          int
		Value      string
		DF         [2]float64
		ResidualSD string `json:"residual_sd"`
	}
	readJSON(t, &sets, "nist", "analysis_of_variance.json")
	if len(sets) != len(demand) {
		t.Fatalf("%d sets, want %d", len(sets), len(demand))
	}
	for name, set := range sets {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			tab := readTable(t, "nist", set.File)
			d, err := NewDesign(set.N, Terms{Treatments: []Treatment{{tab.factor(t, "treatment"), PerPlant}}})
			if err != nil {
				t.Fatal(err)
			}
			f, err := d.Fit(tab.numbers(t, "y"))
			if err != nil {
				t.Fatal(err)
			}
			test := must(f.Partial())[0]
			if !test.OK || test.DF != set.DF || test.Name() != "treatment" {
				t.Fatalf("test %+v", test)
			}
			got := []float64{digits(test.Value, number(t, set.Value)), digits(f.SD(), number(t, set.ResidualSD))}
			if slices.Min(got) < demand[name] {
				t.Errorf("F %.17g, want %s; sd %.17g, want %s: digits %.1f, want %g", test.Value, set.Value, f.SD(), set.ResidualSD, got, demand[name])
			}
			t.Logf("digits %.1f", got)
		})
	}
}
