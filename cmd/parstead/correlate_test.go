package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/alecthomas/kong"

	"parstead/correlate"
)

// said runs a command line and gives what it wrote and returned.
func said(t testing.TB, args ...string) (stdout string, err error) {
	t.Helper()
	var out, talk bytes.Buffer
	err = run(t.Context(), args, strings.NewReader(""), &out, &talk)
	return out.String(), err
}

// saidThrice is what correlate says in its three forms, of one analysis.
func saidThrice(t testing.TB, args ...string) (brief, full, out string, err error) {
	t.Helper()
	var cli commands
	parser, err := kong.New(&cli, kong.Vars{"version": ""})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := parser.Parse(args); err != nil {
		t.Fatal(err)
	}
	c := &cli.Correlate
	h, result, err := c.analysed(&env{t.Context(), strings.NewReader(""), io.Discard, io.Discard, time.Now})
	if err != nil {
		return "", "", "", err
	}
	form := func(full, asJSON bool) string {
		c.Full, c.JSON = full, asJSON
		var b strings.Builder
		if err := c.print(&b, h, result); err != nil {
			t.Fatal(err)
		}
		return b.String()
	}
	return form(false, false), form(true, false), form(false, true), computed(result)
}

// correlated runs parstead correlate --table on a published data set.
func correlated(t testing.TB, file string, flags ...string) correlate.Result {
	t.Helper()
	if !filepath.IsAbs(file) {
		file = filepath.Join("..", "..", "testdata", file)
	}
	out, err := said(t, append([]string{"correlate", "--json", "--table", file}, flags...)...)
	if err != nil {
		t.Fatal(err)
	}
	var r correlate.Result
	decoder := json.NewDecoder(strings.NewReader(out))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&r); err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"NaN", "Inf"} {
		if strings.Contains(out, word) {
			t.Errorf("%s in the results", word)
		}
	}
	return r
}

// near compares to a relative tolerance, for numbers about zero to that of scale.
func near(t testing.TB, what string, got *float64, want, tolerance, scale float64) {
	t.Helper()
	switch {
	case got == nil:
		t.Errorf("%s: absent, want %.17g", what, want)
	case !(math.Abs(*got-want) <= tolerance*max(math.Abs(want), scale)):
		t.Errorf("%s: got %.17g, want %.17g (off by %.2g)", what, *got, want, *got/want-1)
	}
}

// published is testdata/cases/NAME.json: results of general statistics software
// under the contract's keys. Sources stand in the files.
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
		SetPer string `json:"set_per"`
	}
	Interactions bool
	Covariates   []string
	RowsDropped  []int `json:"rows_dropped"`
	Tolerance    float64

	correlate.OutcomeResult
	Comparisons []struct {
		correlate.Comparison
		CITolerance float64 `json:"ci95_tolerance"`
		PTolerance  float64 `json:"p_tolerance"`
	}
	UnequalSpread *struct {
		Welch       correlate.Effect
		GamesHowell []correlate.PairSpread `json:"games_howell"`
	} `json:"unequal_spread"`
}

// TestCorrelateTablePublished sends every published data set through the
// command itself, at the tolerances that the software's numbers support.
func TestCorrelateTablePublished(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"plantgrowth", "iris", "npk", "cabbages", "anorexia", "cars", "sleep", "orchardsprays", "oats", "co2", "orange"} {
		var c published
		readCase(t, name+".json", &c)
		for _, fit := range c.Fits {
			t.Run(name+"/"+fit.Fit, func(t *testing.T) {
				t.Parallel()
				fit.check(t, filepath.Join("cases", c.File))
			})
		}
	}
}

func readCase(t testing.TB, name string, into any) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", "cases", name))
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func (p publishedFit) check(t *testing.T, file string) {
	t.Helper()
	flags := []string{"--outcome", p.Outcome + ":measure"}
	for _, tr := range p.Treatments {
		flag := "--treatment"
		if tr.SetPer == "bin" {
			flag = "--bin-treatment"
		}
		flags = append(flags, flag, tr.Name)
	}
	for _, c := range p.Covariates {
		flags = append(flags, "--covariate", c)
	}
	if p.Block != "" {
		flags = append(flags, "--block", p.Block)
	}
	if p.Bin != "" {
		flags = append(flags, "--bin", p.Bin)
	}
	if p.Interactions {
		flags = append(flags, "--interactions")
	}
	if p.Position != nil {
		flags = append(flags, "--row", "rowpos", "--column", "colpos")
	}
	if len(p.RowsDropped) > 0 {
		file = without(t, file, p.RowsDropped)
	}
	r := correlated(t, file, flags...)
	if len(r.Outcomes) != 1 || r.Outcomes[0].Model != "least squares" {
		t.Fatalf("outcomes: %+v", r.Outcomes)
	}
	p.compare(t, r.Outcomes[0])
}

// without writes a table without some rows, counted from 1.
func without(t testing.TB, file string, dropped []int) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("..", "..", "testdata", file))
	if err != nil {
		t.Fatal(err)
	}
	var kept []string
	for i, line := range strings.Split(string(text), "\n") {
		if !slices.Contains(dropped, i) {
			kept = append(kept, line)
		}
	}
	path := filepath.Join(t.TempDir(), "table.csv")
	if err := os.WriteFile(path, []byte(strings.Join(kept, "\n")), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func (p publishedFit) compare(t *testing.T, got correlate.OutcomeResult) {
	t.Helper()
	tolerance := max(p.Tolerance, 1e-11)
	size := 0.0
	for _, g := range got.Groups {
		size = max(size, math.Abs(*g.Mean))
	}
	if p.ResidualSD != nil {
		near(t, "residual_sd", got.ResidualSD, *p.ResidualSD, tolerance, 0)
		near(t, "residual_df", got.ResidualDF, *p.ResidualDF, 0, 0)
	}
	for _, want := range p.Effects {
		i := slices.IndexFunc(got.Effects, func(e correlate.Effect) bool { return e.Effect == want.Effect })
		if i < 0 {
			t.Errorf("no effect %s", want.Effect)
			continue
		}
		if e := got.Effects[i]; e.Test == "pairs" {
			// Whole bins beside a covariate that is the same in all of them: the one
			// pair's p is that of the published F on one degree of freedom.
			near(t, want.Effect+" p", e.P, *want.P, 1e-8, 0)
		} else {
			test(t, want.Effect, e.Value, e.DF, e.P, want, tolerance)
		}
		if want.Unit != "" && got.Effects[i].Unit != want.Unit {
			t.Errorf("%s: unit %s, want %s", want.Effect, got.Effects[i].Unit, want.Unit)
		}
	}
	for _, want := range p.Checks {
		i := slices.IndexFunc(got.Checks, func(c correlate.Check) bool {
			return c.Check == want.Check && (want.Of == "" || c.Of == want.Of)
		})
		if i < 0 {
			t.Errorf("no check %s %s", want.Check, want.Of)
			continue
		}
		c, tolerance := got.Checks[i], 1e-10
		if want.Check == "normality" { // two programs differ by that
			near(t, "normality", c.Value, *want.Value, 1e-6, 0)
			near(t, "normality p", c.P, *want.P, 1e-4, 0)
			continue
		}
		test(t, string(want.Check)+" "+want.Of, c.Value, c.DF, c.P, correlate.Effect{Value: want.Value, DF: want.DF, P: want.P}, tolerance)
	}
	for _, want := range p.Coefficients {
		i := slices.IndexFunc(got.Coefficients, func(c correlate.Coefficient) bool { return c.Of == want.Of && c.Level == want.Level })
		if i < 0 || got.Coefficients[i].Against != want.Against {
			t.Errorf("no coefficient %s %s against %s", want.Of, want.Level, want.Against)
			continue
		}
		c, what := got.Coefficients[i], want.Of+" "+want.Level
		near(t, what, c.Estimate, *want.Estimate, tolerance, size)
		if want.SE != nil {
			near(t, what+" se", c.SE, *want.SE, tolerance, 0)
		}
		if want.P != nil {
			near(t, what+" p", c.P, *want.P, max(1e-9, 100*p.Tolerance), 0)
		}
		interval(t, what, c.CI95, want.CI95, tolerance, size)
		if want.SEHC3 != nil {
			near(t, what+" se_hc3", c.SEHC3, *want.SEHC3, tolerance, 0)
			near(t, what+" p_hc3", c.PHC3, *want.PHC3, 1e-9, 0)
		}
	}
	p.groups(t, got, size)
	for _, want := range p.Comparisons {
		i := slices.IndexFunc(got.Comparisons, func(c correlate.Comparison) bool {
			return c.Treatment == want.Treatment && c.A == want.A && c.B == want.B
		})
		if i < 0 {
			t.Errorf("no comparison %s: %s − %s", want.Treatment, want.A, want.B)
			continue
		}
		c, what := got.Comparisons[i], want.Treatment+": "+want.A+" − "+want.B
		near(t, what, c.Difference, *want.Difference, tolerance, size)
		if want.SE != nil {
			near(t, what+" se", c.SE, *want.SE, 1e-10, 0)
		}
		interval(t, what, c.CI95.Closed(), want.CI95.Closed(), max(1e-9, want.CITolerance), max(size, *c.SE))
		if want.P != nil && (*want.P > 1e-10 || *c.P > 1e-10) { // below that, both small is agreement
			if want.PTolerance > 0 {
				near(t, what+" p", c.P, *want.P, want.PTolerance, 1)
			} else {
				near(t, what+" p", c.P, *want.P, 1e-9, 0)
			}
		}
		if want.PSingle != nil {
			near(t, what+" p_single", c.PSingle, *want.PSingle, max(1e-9, 100*want.PTolerance), 0)
		}
	}
	if u := p.UnequalSpread; u != nil {
		w := got.UnequalSpread.Welch
		test(t, "welch", &w.Value, w.DF[:], &w.P, u.Welch, 1e-11)
		for _, want := range u.GamesHowell {
			i := slices.IndexFunc(got.UnequalSpread.GamesHowell, func(c correlate.PairSpread) bool { return c.A == want.A && c.B == want.B })
			c := got.UnequalSpread.GamesHowell[i]
			near(t, "games_howell", c.Difference, *want.Difference, 1e-11, size)
			interval(t, "games_howell", c.CI95, want.CI95, 1e-8, 1)
			near(t, "games_howell p", c.P, *want.P, 1e-8, 1)
		}
	}
	if p.Position != nil {
		near(t, "moran_i", got.Position.MoranI, *p.Position.MoranI, 1e-12, 0)
		// The README's own permutation of projected residuals: 0.0110; three
		// Monte Carlo errors of either 9,999 deals are 0.0044.
		near(t, "position p", got.Position.P, 0.0110, 0.004, 1)
	}
}

func (p publishedFit) groups(t *testing.T, got correlate.OutcomeResult, size float64) {
	t.Helper()
	for _, want := range p.Groups {
		i := slices.IndexFunc(got.Groups, func(g correlate.Group) bool { return fmt.Sprint(g.Levels) == fmt.Sprint(want.Levels) })
		if i < 0 {
			t.Errorf("no group %v", want.Levels)
			continue
		}
		g, what := got.Groups[i], fmt.Sprint(want.Levels)
		if want.AdjustedMean != nil {
			near(t, what+" adjusted_mean", g.AdjustedMean, *want.AdjustedMean, 1e-11, size)
			interval(t, what, g.CI95, want.CI95, 1e-10, size)
		}
		if want.Mean != nil {
			near(t, what+" mean", g.Mean, *want.Mean, 1e-13, size)
			near(t, what+" sd", g.SD, *want.SD, 1e-12, 0)
			if g.N != want.N {
				t.Errorf("%s: n %d, want %d", what, g.N, want.N)
			}
		}
		if want.Letters != "" && g.Letters != want.Letters {
			t.Errorf("%s: letters %s, want %s", what, g.Letters, want.Letters)
		}
	}
}

func test(t *testing.T, what string, value *float64, df []float64, p *float64, want correlate.Effect, tolerance float64) {
	t.Helper()
	near(t, what, value, *want.Value, tolerance, 0)
	if want.DF != nil {
		for i := range df {
			near(t, what+" df", &df[i], want.DF[i], 1e-10, 0)
		}
	}
	if want.P != nil {
		near(t, what+" p", p, *want.P, max(1e-9, 100*tolerance), 0)
	}
}

func interval(t *testing.T, what string, got, want *[2]float64, tolerance, scale float64) {
	t.Helper()
	if want == nil {
		return
	}
	if got == nil {
		t.Errorf("%s: no ci95", what)
		return
	}
	for i := range want {
		near(t, what+" ci95", &got[i], want[i], tolerance, scale)
	}
}
