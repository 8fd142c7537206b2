package dist

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/combin"
	"gonum.org/v1/gonum/stat/distuv"
)

// reference is testdata/tables/tests_and_power.json, computed with R 4.2.2;
// published sources are named in the README there.
type reference struct {
	ShapiroWilk [][]json.RawMessage `json:"shapiro_wilk"`
	F           [][6]float64        `json:"noncentral_f"`
	T           [][4]float64        `json:"noncentral_t"`
	FDR         struct {
		P, Adjusted []float64
	} `json:"false_discovery"`
	Two       [][5]float64 `json:"power_two_groups"`
	TwoStrict [][5]float64 `json:"power_two_groups_both_tails"`
	TwoN      [][5]float64 `json:"power_two_groups_n"`
	Groups    [][5]float64 `json:"power_groups"`
	GroupsN   [][5]float64 `json:"power_groups_n"`
	Tables    []struct {
		Name string
		Rows [][]int
		P    float64
	} `json:"exact_tables"`
	Wilson [][4]float64
	Odds   []struct {
		Name string
		Rows [][]int
		CI95 []number
	} `json:"odds_ratio_intervals"`
}

func readReference(t *testing.T) (ref reference) {
	t.Helper()
	readJSON(t, tables+"tests_and_power.json", &ref)
	return ref
}

func TestShapiroWilk(t *testing.T) {
	t.Parallel()
	samples := map[string]func(u float64) float64{
		"uniform":     func(u float64) float64 { return u },
		"exponential": func(u float64) float64 { return -math.Log1p(-u) },
		"normal":      func(u float64) float64 { return distuv.UnitNormal.Quantile(0.001 + 0.998*u) },
		"eighths":     func(u float64) float64 { return math.Floor(8 * u) },
	}
	ref := readReference(t)
	if len(ref.ShapiroWilk) < 48 {
		t.Fatalf("only %d values read", len(ref.ShapiroWilk))
	}
	for _, c := range ref.ShapiroWilk {
		var n int
		var name string
		var wantW, wantP float64
		for i, into := range []any{&n, &name, &wantW, &wantP} {
			if err := json.Unmarshal(c[i], into); err != nil {
				t.Fatal(err)
			}
		}
		x := make([]float64, n)
		for i := range x {
			_, u := math.Modf(float64(i+1) * 0.6180339887498949)
			x[i] = samples[name](u)
		}
		w, p, err := ShapiroWilk(x)
		// R and scipy differ by 1e-6 in W and 1e-4 in p.
		if err != nil || !within(w, wantW, 1e-6) || !within(p, wantP, 1e-4) {
			t.Errorf("%s, n %d: W %v, p %v, %v, want %v, %v", name, n, w, p, err, wantW, wantP)
		}
	}
	for _, c := range []struct {
		x    []float64
		want error
	}{
		{make([]float64, 2), ErrSampleSize},
		{make([]float64, 5001), ErrSampleSize},
		{[]float64{3, 3, 3, 3}, ErrConstant},
	} {
		if _, _, err := ShapiroWilk(c.x); err != c.want { //nolint:errorlint // the sentinel itself is promised
			t.Errorf("%d values: %v, want %v", len(c.x), err, c.want)
		}
	}
}

func TestNoncentralF(t *testing.T) {
	t.Parallel()
	ref := readReference(t)
	if len(ref.F) < 108 {
		t.Fatalf("only %d values read", len(ref.F))
	}
	for _, c := range ref.F {
		d := NoncentralF{c[0], c[1], c[2]}
		if p, q := d.CDF(c[3]), d.Survival(c[3]); math.Abs(p-c[4]) > 1e-11 || math.Abs(q-c[5]) > 1e-11 {
			t.Errorf("%+v at %v: %v and %v, want %v and %v", d, c[3], p, q, c[4], c[5])
		}
	}
	big := NoncentralF{5, 200, 1e5}
	if p := big.CDF(20005); !(p > 0.3 && p < 0.7) {
		t.Errorf("near the middle of a large non-centrality: %v", p)
	}
}

func TestNoncentralT(t *testing.T) {
	t.Parallel()
	ref := readReference(t)
	if len(ref.T) < 100 {
		t.Fatalf("only %d values read", len(ref.T))
	}
	for _, c := range ref.T {
		d := NoncentralT{c[0], c[1]}
		if p := d.CDF(c[2]); math.Abs(p-c[3]) > 1e-11 {
			t.Errorf("%+v at %v: %v, want %v", d, c[2], p, c[3])
		}
		if s := d.CDF(c[2]) + d.Survival(c[2]); math.Abs(s-1) > 1e-14 {
			t.Errorf("%+v at %v: the tails add up to %v", d, c[2], s)
		}
		// A squared non-central t is a non-central F.
		f := NoncentralF{1, c[0], c[1] * c[1]}
		if a, b := f.CDF(c[2]*c[2]), d.CDF(math.Abs(c[2]))-d.CDF(-math.Abs(c[2])); math.Abs(a-b) > 1e-12 {
			t.Errorf("%+v at %v: as F %v, as t %v", d, c[2], a, b)
		}
	}
}

// Corners: one degree of freedom, large non-centrality, small tails; integrated
// with scipy's chi-squared, Poisson and normal (testdata/oracles/power.py).
func TestNoncentralCorners(t *testing.T) {
	t.Parallel()
	var ref struct {
		F [][5]float64 `json:"upper_tail_f"`
		T [][4]float64 `json:"upper_tail_t"`
	}
	readJSON(t, tables+"power.json", &ref)
	if len(ref.F) < 10 || len(ref.T) < 9 {
		t.Fatal("not all values read")
	}
	for _, c := range ref.F {
		if p := (NoncentralF{c[0], c[1], c[2]}).Survival(c[3]); !within(p, c[4], 1e-9) {
			t.Errorf("F %v: %v, want %v", c, p, c[4])
		}
	}
	for _, c := range ref.T {
		if p := (NoncentralT{c[0], c[1]}).Survival(c[2]); !within(p, c[3], 1e-9) {
			t.Errorf("t %v: %v, want %v", c, p, c[3])
		}
	}
}

func TestPower(t *testing.T) {
	t.Parallel()
	ref := readReference(t)
	if len(ref.Two)+len(ref.TwoStrict)+len(ref.Groups) != 8 || len(ref.TwoN) != 2 || len(ref.GroupsN) != 1 {
		t.Fatal("not all values read")
	}
	two := func(c [5]float64) (upper, lower float64) {
		n, delta, sd, alpha := c[0], c[1], c[2], c[3]
		df := 2 * (n - 1)
		crit := distuv.StudentsT{Sigma: 1, Nu: df}.Quantile(1 - alpha/2)
		d := NoncentralT{df, delta / (sd * math.Sqrt(2/n))}
		return d.Survival(crit), d.CDF(-crit)
	}
	for _, c := range ref.Two {
		if p, _ := two(c); !within(p, c[4], 1e-9) {
			t.Errorf("two groups %v: power %v", c, p)
		}
	}
	for _, c := range ref.TwoStrict {
		if p, q := two(c); !within(p+q, c[4], 1e-9) {
			t.Errorf("two groups, both tails %v: power %v", c, p+q)
		}
	}
	// The reference stopped its search for n at 1e-5.
	for _, c := range ref.TwoN {
		if p, _ := two(c); !within(p, c[4], 1e-5) {
			t.Errorf("two groups %v: power %v", c, p)
		}
	}
	groups := func(c [5]float64) float64 {
		k, between, inside, n := c[0], c[1], c[2], c[3]
		d2 := k * (n - 1)
		crit := distuv.F{D1: k - 1, D2: d2}.Quantile(0.95)
		return NoncentralF{k - 1, d2, n * (k - 1) * between / inside}.Survival(crit)
	}
	for _, c := range ref.Groups {
		if p := groups(c); !within(p, c[4], 1e-9) {
			t.Errorf("groups %v: power %v", c, p)
		}
	}
	for _, c := range ref.GroupsN {
		if p := groups(c); !within(p, c[4], 1e-5) {
			t.Errorf("groups %v: power %v", c, p)
		}
	}
}

func TestFalseDiscovery(t *testing.T) {
	t.Parallel()
	ref := readReference(t).FDR
	got := FalseDiscovery(ref.P)
	rejected := 0
	for i := range ref.P {
		if !within(got[i], ref.Adjusted[i], 1e-14) {
			t.Errorf("p %v: adjusted %v, want %v", ref.P[i], got[i], ref.Adjusted[i])
		}
		if got[i] <= 0.05 {
			rejected++
		}
	}
	if rejected != 4 { // Benjamini & Hochberg (1995), section 3.2
		t.Errorf("%d rejected at 0.05, published 4", rejected)
	}
	if got := FalseDiscovery([]float64{0.9, 0.01, 0.02}); !within(got[1], 0.03, 1e-14) || got[2] != got[1] || got[0] != 0.9 {
		t.Errorf("unordered p values: %v", got)
	}
	if len(FalseDiscovery(nil)) != 0 {
		t.Error("no p values")
	}
}

func TestWilson(t *testing.T) {
	t.Parallel()
	for _, c := range readReference(t).Wilson {
		low, high := Wilson(int(c[0]), int(c[1]), 0.95)
		if math.Abs(low-c[2]) > 1e-14 || math.Abs(high-c[3]) > 1e-14 {
			t.Errorf("%v of %v: %v to %v, want %v to %v", c[0], c[1], low, high, c[2], c[3])
		}
	}
	if !panics(func() { Wilson(3, 2, 0.95) }) {
		t.Error("more events than units")
	}
}

func TestExactTable(t *testing.T) {
	t.Parallel()
	ref := readReference(t)
	if len(ref.Tables) != 8 {
		t.Fatalf("%d tables read", len(ref.Tables))
	}
	for _, c := range ref.Tables {
		got := ExactTable(c.Rows, 1)
		if got.Drawn > 0 {
			if mc := math.Sqrt(c.P * (1 - c.P) / draws); math.Abs(got.P-c.P) > 4*mc {
				t.Errorf("%s: drawn %v, want %v ± %v", c.Name, got.P, c.P, mc)
			}
			if again := ExactTable(c.Rows, 1); again != got {
				t.Errorf("%s: the same seed gives %v, then %v", c.Name, got, again)
			}
			continue
		}
		if !within(got.P, c.P, 1e-10) {
			t.Errorf("%s: p %v, want %v", c.Name, got.P, c.P)
		}
		turned := make([][]int, len(c.Rows[0]))
		for j := range turned {
			for _, row := range c.Rows {
				turned[j] = append(turned[j], row[j])
			}
		}
		if other := ExactTable(turned, 1); !within(other.P, got.P, 1e-12) || other.Tables != got.Tables {
			t.Errorf("%s turned: %+v, want %+v", c.Name, other, got)
		}
	}
	for _, c := range [][][]int{{{3, 0}, {5, 0}}, {{0, 0}, {2, 1}}, {{0, 0}, {0, 0}}, {{4, 2}}} {
		if got := ExactTable(c, 1); got != (TableTest{P: 1, Tables: 1}) {
			t.Errorf("%v: %+v", c, got)
		}
	}
}

// Drawing and listing must agree on a table that can do both.
func TestExactTableDrawsByProbability(t *testing.T) {
	t.Parallel()
	rows := [][]int{{9, 3}, {7, 5}, {4, 8}, {2, 10}, {11, 1}}
	m := newMargins(rows)
	want := ExactTable(rows, 1)
	if want.Drawn != 0 {
		t.Fatal("this table should be listed")
	}
	got := m.draw(m.logP(rows)+math.Log1p(tie), 5)
	if mc := math.Sqrt(want.P * (1 - want.P) / draws); math.Abs(got-want.P) > 4*mc+1.0/draws {
		t.Errorf("drawn %v, listed %v, Monte Carlo error %v", got, want.P, mc)
	}
}

// Drawn cells follow the hypergeometric distribution, by χ² over all values.
func TestHypergeometricDraws(t *testing.T) {
	t.Parallel()
	m := newMargins([][]int{{20, 30}, {25, 25}}) // ln factorials up to 100
	rng := rand.New(rand.NewPCG(1, 1))
	const n = 100_000
	for _, c := range [][3]int{{50, 20, 12}, {30, 25, 20}, {9, 4, 4}, {100, 1, 50}} {
		all, room, take := c[0], c[1], c[2]
		seen := map[int]int{}
		for range n {
			seen[m.hypergeometric(rng, all, room, take)]++
		}
		chi2, df, total := 0.0, -1.0, 0
		for x := max(0, take-(all-room)); x <= min(take, room); x++ {
			p := math.Exp(combin.LogGeneralizedBinomial(float64(room), float64(x)) +
				combin.LogGeneralizedBinomial(float64(all-room), float64(take-x)) -
				combin.LogGeneralizedBinomial(float64(all), float64(take)))
			total += seen[x]
			if e := p * n; e > 5 {
				chi2 += (float64(seen[x]) - e) * (float64(seen[x]) - e) / e
				df++
			}
		}
		if total != n {
			t.Errorf("%v: %d of %d draws inside the range", c, total, n)
		}
		if p := (distuv.ChiSquared{K: df}).Survival(chi2); p < 1e-4 {
			t.Errorf("%v: chi2 %v on %v, p %v", c, chi2, df, p)
		}
	}
}

// A large table is drawn cell by cell, not unit by unit.
func TestExactTableLarge(t *testing.T) {
	t.Parallel()
	rows := [][]int{{1200, 900}, {1250, 870}, {1180, 930}, {1230, 905}}
	got := ExactTable(rows, 1)
	if got.Drawn == 0 || !(got.P > 0 && got.P < 1) {
		t.Errorf("%+v", got)
	}
	// So large a table follows χ²: 3 degrees of freedom.
	var chi2, yes, all float64
	for _, r := range rows {
		yes += float64(r[0])
		all += float64(r[0] + r[1])
	}
	for _, r := range rows {
		n := float64(r[0] + r[1])
		e := n * yes / all
		chi2 += (float64(r[0]) - e) * (float64(r[0]) - e) / (e * (1 - yes/all))
	}
	if want := (distuv.ChiSquared{K: 3}).Survival(chi2); math.Abs(got.P-want) > 0.01 {
		t.Errorf("p %v, by χ² %v", got.P, want)
	}
}

func BenchmarkExactTable(b *testing.B) {
	rows := [][]int{{9, 18}, {3, 24}, {6, 21}, {2, 25}, {1, 26}, {0, 27}}
	for b.Loop() {
		ExactTable(rows, 1)
	}
}

func TestOddsRatioInterval(t *testing.T) {
	t.Parallel()
	ref := readReference(t).Odds
	if len(ref) != 5 {
		t.Fatalf("%d intervals read", len(ref))
	}
	for _, c := range ref {
		got := OddsRatioInterval(c.Rows[0][0], c.Rows[0][1], c.Rows[1][0], c.Rows[1][1], 0.95)
		// R searches ψ or 1/ψ, whichever is below one, and stops at 1.3e-4.
		for side, want := range c.CI95 {
			a, b := got[side], float64(want)
			if b > 1 {
				a, b = 1/a, 1/b
			}
			if math.Abs(a-b) > 1.3e-4 {
				t.Errorf("%s: %v, want %v", c.Name, got, c.CI95)
			}
		}
		// The tails at the ends, added up from binomial coefficients.
		n1, n2, sum := c.Rows[0][0]+c.Rows[0][1], c.Rows[1][0]+c.Rows[1][1], c.Rows[0][0]+c.Rows[1][0]
		if n1+n2 > 60 {
			continue
		}
		for side, psi := range got {
			if psi == 0 || math.IsInf(psi, 1) {
				continue
			}
			var tail, all float64
			for x := max(0, sum-n2); x <= min(sum, n1); x++ {
				p := float64(combin.Binomial(n1, x)) * float64(combin.Binomial(n2, sum-x)) * math.Pow(psi, float64(x))
				all += p
				if side == 0 && x >= c.Rows[0][0] || side == 1 && x <= c.Rows[0][0] {
					tail += p
				}
			}
			if !within(tail/all, 0.025, 1e-10) {
				t.Errorf("%s: tail %v at end %d", c.Name, tail/all, side)
			}
		}
	}
	// In closed form for one of one against none of one: P(X = 1) = ψ/(1 + ψ).
	if got := OddsRatioInterval(1, 0, 0, 1, 0.95); !within(got[0], 0.025/0.975, 1e-12) || !math.IsInf(got[1], 1) {
		t.Errorf("one against none: %v", got)
	}
	if got := OddsRatioInterval(0, 5, 0, 5, 0.95); got[0] != 0 || !math.IsInf(got[1], 1) {
		t.Errorf("no event: %v", got)
	}
}
