package main

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"parstead/correlate"
)

func coefficientOf(t testing.TB, list []correlate.Coefficient, of, level string) correlate.Coefficient {
	t.Helper()
	i := slices.IndexFunc(list, func(c correlate.Coefficient) bool { return c.Of == of && c.Level == level })
	if i < 0 {
		t.Fatalf("no coefficient %s %s", of, level)
	}
	return list[i]
}

func effectOf(t testing.TB, list []correlate.Effect, name string) correlate.Effect {
	t.Helper()
	i := slices.IndexFunc(list, func(e correlate.Effect) bool { return e.Effect == name })
	if i < 0 {
		t.Fatalf("no effect %s", name)
	}
	return list[i]
}

// Beall (1942) and Quine (1975) by quasi-likelihood and negative binomial; the
// values and their sources stand in testdata/cases/counts.json. The software's
// standard errors are those of dispersion 1.
func TestCorrelateTableCounts(t *testing.T) {
	t.Parallel()
	type estimate struct {
		Of, Level    string
		Estimate, SE float64
		P            float64
	}
	var cases map[string]struct {
		Outcome      string
		Treatments   []string
		Dispersion   float64
		ResidualDF   float64 `json:"residual_df"`
		Coefficients []estimate
		Effects      []struct {
			Effect   string
			Value, P float64
			DF       []float64
		}
		AdjustedMean     map[string]float64 `json:"adjusted_mean"`
		NegativeBinomial struct {
			Size         float64
			Coefficients []estimate
			Effects      []struct {
				Effect string
				Value  float64
				DF     []float64
			}
		} `json:"negative_binomial"`
	}
	readCase(t, "counts.json", &cases)
	for name, want := range cases {
		flags := []string{"--outcome", want.Outcome + ":count"}
		for _, tr := range want.Treatments {
			flags = append(flags, "--treatment", tr)
		}
		r := correlated(t, filepath.Join("cases", name+".csv"), flags...).Outcomes[0]
		if r.Model != "quasi-likelihood" {
			t.Fatalf("%s: model %q", name, r.Model)
		}
		near(t, name+" residual_df", r.ResidualDF, want.ResidualDF, 0, 0)
		i := slices.IndexFunc(r.Checks, func(c correlate.Check) bool { return c.Check == "dispersion" })
		near(t, name+" dispersion", r.Checks[i].Value, want.Dispersion, 1e-8, 0)
		for _, c := range want.Coefficients {
			got := coefficientOf(t, r.Coefficients, c.Of, c.Level)
			near(t, name+" "+c.Of+c.Level, got.Estimate, c.Estimate, 1e-8, 0)
			near(t, name+" "+c.Of+c.Level+" se", got.SE, c.SE*math.Sqrt(want.Dispersion), 1e-6, 0)
		}
		for _, e := range want.Effects {
			got := effectOf(t, r.Effects, e.Effect)
			near(t, name+" "+e.Effect, got.Value, e.Value, 1e-8, 0)
			near(t, name+" "+e.Effect+" p", got.P, e.P, 1e-7, 0)
			if fmt.Sprint(got.DF) != fmt.Sprint(e.DF) {
				t.Errorf("%s %s: df %v, want %v", name, e.Effect, got.DF, e.DF)
			}
		}
		for level, mean := range want.AdjustedMean {
			i := slices.IndexFunc(r.Groups, func(g correlate.Group) bool { return g.Levels[want.Treatments[0]] == level })
			near(t, name+" adjusted_mean "+level, r.Groups[i].AdjustedMean, mean, 1e-9, 0)
		}
		nb, sizeTolerance := r.NegativeBinomial, 1e-5 // size: README
		near(t, name+" size", &nb.Size, want.NegativeBinomial.Size, sizeTolerance, 0)
		for _, c := range want.NegativeBinomial.Coefficients {
			got := coefficientOf(t, nb.Coefficients, c.Of, c.Level)
			near(t, name+" nb "+c.Of+c.Level, got.Estimate, c.Estimate, 1e-7, 0)
			near(t, name+" nb "+c.Of+c.Level+" se", got.SE, c.SE, 1e-5, 0)
		}
		for _, e := range want.NegativeBinomial.Effects {
			near(t, name+" nb "+e.Effect, effectOf(t, nb.Effects, e.Effect).Value, e.Value, 1e-5, 0)
		}
	}
}

// Heinze, Schemper (2002) and Collett (1991) by penalised logistic regression;
// testdata/cases/yesno.json. NV separates the answers.
func TestCorrelateTableYesNoModels(t *testing.T) {
	t.Parallel()
	var cases map[string]struct {
		Outcome                string
		Treatments, Covariates []string
		Coefficients           []struct {
			Of, Level    string
			Estimate, SE float64
			Chi2, P      *float64
			CI95         *[2]float64
		}
	}
	readCase(t, "yesno.json", &cases)
	for name, want := range cases {
		flags := []string{"--outcome", want.Outcome + ":yes_no"}
		for _, tr := range want.Treatments {
			flags = append(flags, "--treatment", tr)
		}
		for _, c := range want.Covariates {
			flags = append(flags, "--covariate", c)
		}
		r := correlated(t, filepath.Join("cases", name+".csv"), flags...).Outcomes[0]
		if r.Model != "penalised logistic" || (r.Exact == nil) != (len(want.Treatments) == 0) {
			t.Fatalf("%s: model %q, exact %v", name, r.Model, r.Exact)
		}
		for _, c := range want.Coefficients {
			got, what := coefficientOf(t, r.Coefficients, c.Of, c.Level), name+" "+c.Of
			near(t, what, got.Estimate, c.Estimate, 1e-8, 0)
			near(t, what+" se", got.SE, c.SE, 1e-6, 0)
			if c.P != nil {
				near(t, what+" p", got.P, *c.P, 1e-6, 0)
			}
			interval(t, what, got.CI95, c.CI95, 1e-6, 0)
			if c.Chi2 != nil && c.Of != "intercept" {
				near(t, what+" chi2", effectOf(t, r.Effects, c.Of).Value, *c.Chi2, 1e-7, 0)
			}
		}
	}
}

// Two-sided exact p values of tables of k rows and two columns (general
// statistics software; Fisher 1935 and 1970, and tables made up there), from
// testdata/tables/tests_and_power.json's source.
func TestCorrelateTableExact(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		rows [][2]int
		p    float64
	}{
		"tea tasting (Fisher 1935)": {[][2]int{{3, 1}, {1, 3}}, 0.4857142857142858},
		"twins (Fisher 1970)":       {[][2]int{{2, 15}, {10, 3}}, 0.0005367241191434364},
		"zero cell":                 {[][2]int{{0, 8}, {6, 4}}, 0.012820512820512813},
		"separated":                 {[][2]int{{5, 0}, {0, 5}}, 0.00793650793650794},
		"large":                     {[][2]int{{120, 95}, {80, 130}}, 0.00031516166866798557},
		"five levels":               {[][2]int{{9, 3}, {7, 5}, {4, 8}, {2, 10}, {11, 1}}, 0.00111486813161258},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), "t.csv")
			text := "g,y\n"
			for g, row := range c.rows {
				for range row[0] {
					text += fmt.Sprintf("%d,yes\n", g)
				}
				for range row[1] {
					text += fmt.Sprintf("%d,no\n", g)
				}
			}
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			r := correlated(t, path, "--outcome", "y:yes_no", "--treatment", "g").Outcomes[0]
			if r.Model != "exact table" || r.Effects[0].Test != "exact" || r.Effects[0].Value != nil || r.Effects[0].DF != nil {
				t.Errorf("model %q, effect %+v", r.Model, r.Effects[0])
			}
			near(t, "p", r.Effects[0].P, c.p, 1e-9, 0)
			if len(c.rows) > 2 {
				return
			}
			near(t, "pair", r.Comparisons[0].P, c.p, 1e-9, 0)
			a, b := c.rows[1], c.rows[0]
			if a[0]*a[1]*b[0]*b[1] == 0 {
				if r.Comparisons[0].Ratio != nil {
					t.Error("an odds ratio in spite of a zero cell")
				}
				return
			}
			near(t, "odds ratio", r.Comparisons[0].Ratio, float64(a[0]*b[1])/float64(a[1]*b[0]), 1e-12, 0)
		})
	}
}

// Light curves: puromycin (Treloar 1974; Bates, Watts 1988), CO2 uptake of
// single plants (Potvin et al. 1990) and NIST's certified Misra1a and Misra1d;
// testdata/cases/curves.json.
func TestCorrelateTableCurves(t *testing.T) {
	t.Parallel()
	var cases struct {
		Curves []struct {
			Data, Light, Outcome string
			Where                []string
			NoGrowthInDark       bool `json:"no_growth_in_dark"`
			correlate.LightCurve
		}
	}
	readCase(t, "curves.json", &cases)
	if len(cases.Curves) == 0 {
		t.Fatal("no curves")
	}
	for _, c := range cases.Curves {
		t.Run(c.Data+fmt.Sprint(c.Where), func(t *testing.T) {
			t.Parallel()
			flags := []string{"--outcome", c.Outcome + ":measure", "--light", c.Light}
			if c.NoGrowthInDark {
				flags = append(flags, "--no-growth-in-dark")
			}
			file := c.Data
			if len(c.Where) == 2 {
				file = where(t, file, c.Where[0], c.Where[1])
			}
			r := correlated(t, file, flags...).Outcomes[0]
			i := slices.IndexFunc(r.Light.Curve, func(l correlate.LightCurve) bool { return l.Shape == c.Shape })
			if i < 0 {
				t.Fatalf("no %s: %+v", c.Shape, r.Checks)
			}
			got := r.Light.Curve[i]
			if c.RSS != nil {
				near(t, "rss", got.RSS, *c.RSS, 1e-8, 0)
			}
			if c.AIC != nil {
				near(t, "aic", got.AIC, *c.AIC, 1e-8, 0)
			}
			for _, want := range c.Parameters {
				i := slices.IndexFunc(got.Parameters, func(p correlate.Parameter) bool { return p.Name == want.Name })
				if i < 0 {
					t.Errorf("no parameter %s", want.Name)
					continue
				}
				p := got.Parameters[i]
				near(t, want.Name, p.Estimate, *want.Estimate, 1e-6, 0)
				if want.SE != nil {
					near(t, want.Name+" se", p.SE, *want.SE, 1e-5, 0)
				}
				interval(t, want.Name, p.CI95, want.CI95, 0.02, 0) // the source interpolates its profile by a spline; correlate/model holds exact ones
			}
		})
	}
}

// where writes the rows of a table that have a value in a column.
func where(t testing.TB, file, column, value string) string {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() //nolint:errcheck // it only read
	records, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	j := slices.Index(records[0], column)
	kept := records[:1]
	for _, r := range records[1:] {
		if r[j] == value {
			kept = append(kept, r)
		}
	}
	path := filepath.Join(t.TempDir(), "t.csv")
	out, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	w := csv.NewWriter(out)
	if err := w.WriteAll(kept); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// The same enzyme data by --by: results of each state, bytewise.
func TestCorrelateTableBy(t *testing.T) {
	t.Parallel()
	r := correlated(t, "cases/puromycin.csv", "--outcome", "rate:measure", "--light", "conc", "--by", "state", "--no-growth-in-dark")
	if len(r.Outcomes) != 2 || r.Outcomes[0].Of["state"] != "treated" || r.Outcomes[1].Of["state"] != "untreated" {
		t.Fatalf("outcomes %+v", r.Outcomes)
	}
	for i, want := range [][2]float64{{212.68374317336253, 0.0641212817617017}, {160.2800461814044, 0.04770818453108873}} {
		for _, c := range r.Outcomes[i].Light.Curve {
			if c.Shape == "hyperbola" {
				near(t, "b", c.Parameters[0].Estimate, want[0], 1e-6, 0)
				near(t, "K", c.Parameters[1].Estimate, want[1], 1e-6, 0)
			}
		}
	}
}
