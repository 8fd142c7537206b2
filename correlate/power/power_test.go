package power

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"testing"
)

// reference is testdata/tables/power.json, computed with scipy 1.10.1 and R 4.2.2
// by testdata/oracles/power.py.
type reference struct {
	Means      [][5]float64 `json:"means"`
	Replicates [][4]float64 `json:"means_replicates"`
	Shares     [][5]float64 `json:"shares"`
	Counts     [][8]float64 `json:"counts"`
}

// earlier is testdata/tables/tests_and_power.json, computed with R 4.2.2.
type earlier struct {
	Two     [][5]float64 `json:"power_two_groups"`
	TwoBoth [][5]float64 `json:"power_two_groups_both_tails"`
	TwoN    [][5]float64 `json:"power_two_groups_n"`
	Groups  [][5]float64 `json:"power_groups"`
	GroupsN [][5]float64 `json:"power_groups_n"`
}

func read(t *testing.T, file string, into any) {
	t.Helper()
	b, err := os.ReadFile("../../testdata/tables/" + file)
	if err == nil {
		err = json.Unmarshal(b, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// Power of Student's t for two groups and of F for several, from R's own.
func TestMeansAgainstR(t *testing.T) {
	t.Parallel()
	var ref earlier
	read(t, "tests_and_power.json", &ref)
	if len(ref.Two) < 3 || len(ref.TwoBoth) < 2 || len(ref.TwoN) < 2 || len(ref.Groups) < 3 || len(ref.GroupsN) < 1 {
		t.Fatal("not all values read")
	}
	two := func(c [5]float64) Means { return Means{Layout{Levels: 2}, c[2], c[1]} }
	for _, c := range ref.Two { // one tail: the right way round
		if c[3] == Level {
			near(t, "two groups, one tail", two(c).PairPower(int(c[0])), c[4], 1e-9)
		}
	}
	for _, c := range ref.TwoBoth {
		near(t, "two groups", two(c).Power(int(c[0])), c[4], 1e-9)
	}
	for _, c := range ref.TwoN {
		n, err := two(c).Replicates(c[4])
		if want := int(math.Ceil(c[0])); err != nil || n != want {
			t.Errorf("two groups %v: %d, %v, want %d", c, n, err, want)
		}
	}
	// Variance among k means, two of them Δ apart and the others half way: Δ²/2(k − 1).
	groups := func(c [5]float64) Means {
		return Means{Layout{Levels: int(c[0])}, math.Sqrt(c[2]), math.Sqrt(2 * (c[0] - 1) * c[1])}
	}
	for _, c := range ref.Groups {
		near(t, "groups", groups(c).Power(int(c[3])), c[4], 1e-9)
	}
	for _, c := range ref.GroupsN {
		n, err := groups(c).Replicates(c[4])
		if want := int(math.Ceil(c[3])); err != nil || n != want {
			t.Errorf("groups %v: %d, %v, want %d", c, n, err, want)
		}
	}
}

// power.t.test and power.anova.test of R 4.2.2 at 5 % and power 0.80, rounded up, as
// in the tables of Cohen (1988), Statistical Power Analysis for the Behavioral
// Sciences: two groups half and 0.8 of a standard deviation
// apart take 64 and 26 each; four groups of effect size f = 0.25, which is two of
// them f√(2k) apart and the others half way, take 45 each, and three 53.
func TestPublishedSizes(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		levels int
		d      float64
		want   int
	}{{2, 0.5, 64}, {2, 0.8, 26}, {4, 0.25 * math.Sqrt(8), 45}, {3, 0.25 * math.Sqrt(6), 53}} {
		if n, err := (Means{Layout{Levels: c.levels}, 1, c.d}).Replicates(0.8); err != nil || n != c.want {
			t.Errorf("%+v: %d, %v", c, n, err)
		}
	}
}

func TestMeansAgainstScipy(t *testing.T) {
	t.Parallel()
	var ref reference
	read(t, "power.json", &ref)
	if len(ref.Means) < 8 || len(ref.Replicates) < 4 {
		t.Fatal("not all values read")
	}
	for _, c := range ref.Means {
		m := Means{Layout{Levels: int(c[0])}, 1, c[2]}
		near(t, "F", m.Power(int(c[1])), c[3], 1e-9)
		near(t, "pair", m.PairPower(int(c[1])), c[4], 1e-7)
	}
	for _, c := range ref.Replicates {
		m := Means{Layout{Levels: int(c[0])}, 3, 3 * c[1]} // in another unit
		n, err := m.Replicates(0.8)
		pair, err2 := m.PairReplicates(0.8)
		if err != nil || err2 != nil || n != int(c[2]) || pair != int(c[3]) {
			t.Errorf("%v: %d, %v and %d, %v", c, n, err, pair, err2)
		}
	}
}

// Blocks and other coefficients cost degrees of freedom and nothing else, and the
// smallest difference is the one that has the power.
func TestLayoutAndSmallest(t *testing.T) {
	t.Parallel()
	plain := Means{Layout{Levels: 3}, 1, 2}
	for _, c := range []struct {
		l    Layout
		n    int
		want int
	}{
		{Layout{Levels: 3}, 5, 12},
		{Layout{Levels: 3, Others: 4}, 5, 8},
		{Layout{Levels: 3, Blocked: true}, 5, 8},
		{Layout{Levels: 2, Blocked: true, Others: 3}, 5, 1},
	} {
		if df := c.l.DF(c.n); df != c.want {
			t.Errorf("%+v with %d: %d degrees of freedom, want %d", c.l, c.n, df, c.want)
		}
	}
	blocked, others := plain, plain
	blocked.Blocked, others.Others = true, 4
	if blocked.Power(5) != others.Power(5) || !(blocked.Power(5) < plain.Power(5)) {
		t.Errorf("5 a level: %v plain, %v in blocks, %v with four others", plain.Power(5), blocked.Power(5), others.Power(5))
	}
	for _, n := range []int{2, 3, 10, 1000} {
		for _, power := range []float64{0.3, 0.8, 0.999} {
			m := blocked
			m.Difference = m.Smallest(n, power)
			near(t, "power of the smallest difference", m.Power(n), power, 1e-8)
		}
	}
	if !math.IsInf(blocked.Smallest(1, 0.8), 1) || blocked.Power(1) != 0 {
		t.Error("one replicate leaves no degree of freedom, yet something is shown")
	}
	if _, err := (Means{Layout{Levels: 2}, 1, 1e-4}).Replicates(0.8); !errors.Is(err, ErrOutOfReach) {
		t.Errorf("a ten-thousandth of the spread: %v", err)
	}
}

func TestSharesAgainstScipy(t *testing.T) {
	t.Parallel()
	var ref reference
	read(t, "power.json", &ref)
	if len(ref.Shares) < 6 {
		t.Fatal("not all values read")
	}
	for _, c := range ref.Shares {
		near(t, "shares", Shares{c[1], c[2], int(c[3])}.Power(int(c[0])), c[4], 1e-10)
	}
	s := Shares{0.45, 0.2, 1}
	n, err := s.Replicates(0.8)
	if err != nil {
		t.Fatal(err)
	}
	for i := range 6 {
		if s.Power(n+i) < 0.8 {
			t.Errorf("%d a level: power %v", n+i, s.Power(n+i))
		}
	}
	if s.Power(n-1) >= 0.8 {
		t.Errorf("%d a level would do", n-1)
	}
	odds := SmallestOdds(0.3, 3, 40, 0.8)
	a, b := Apart(0.3, odds)
	near(t, "odds ratio", a/(1-a)/(b/(1-b)), odds, 1e-9)
	near(t, "power of the smallest odds ratio", Shares{a, b, 3}.Power(40), 0.8, 1e-6)
	if !math.IsInf(SmallestOdds(0.5, 1, 3, 0.8), 1) {
		t.Error("three plants a side show nothing at 5 %")
	}
}

// R's glm on trials of its own; both are simulated, so they differ by chance: five
// standard deviations are allowed, some 0.04.
func TestCountsAgainstR(t *testing.T) {
	t.Parallel()
	var ref reference
	read(t, "power.json", &ref)
	if len(ref.Counts) < 6 {
		t.Fatal("not all values read")
	}
	for _, c := range ref.Counts {
		s, err := Counts{Layout{Levels: int(c[0]), Blocked: c[2] == 1}, c[3], c[4], c[5], 7}.Power(int(c[1]))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "counts", s.Power, c[6], 5*math.Hypot(s.Error, math.Sqrt(c[6]*(1-c[6])/c[7])))
	}
}

// Where replicates are many the power of counts is that of their logs' means, and
// the fewest replicates are those whose power is just enough.
func TestCountsReplicates(t *testing.T) {
	t.Parallel()
	c := Counts{Layout{Levels: 3}, 20, 3, 1.2, 3}
	s, err := c.Replicates(0.8)
	if err != nil {
		t.Fatal(err)
	}
	about, err := c.About(0.8)
	if err != nil {
		t.Fatal(err)
	}
	// 0.8 lies within ± 2 % of n for the Monte Carlo error of 0.004.
	if math.Abs(float64(s.Replicates-about)) > 0.04*float64(about) || s.Power < 0.8 || s.Power > 0.82 || !(s.Error > 0.003 && s.Error < 0.005) {
		t.Errorf("%+v, about %d", s, about)
	}
	again, err := c.Replicates(0.8)
	if err != nil || again != s {
		t.Errorf("again: %+v, %v", again, err)
	}
	ratio, err := c.Smallest(s.Replicates, 0.8)
	if err != nil || math.Abs(math.Log(ratio)/math.Log(1.2)-1) > 0.03 {
		t.Errorf("the smallest ratio of %d is %v, %v", s.Replicates, ratio, err)
	}
	// The test of these simulated trials shows one in twenty and some, without any difference.
	if ratio, err := (Counts{Layout{Levels: 2}, 20, 1, 1.2, 0}).Smallest(20, 0.0501); err != nil || !(ratio >= 1 && ratio < 1.001) {
		t.Errorf("a power that chance alone gives: ratio %v, %v", ratio, err)
	}
	for _, far := range []Counts{{Layout{Levels: 2}, 1, 1, 1.001, 1}, {Layout{Levels: 2}, 0.01, 1, 1.1, 1}} {
		if _, err := far.Replicates(0.8); !errors.Is(err, ErrOutOfReach) {
			t.Errorf("%+v: %v", far, err)
		}
	}
	if _, err := (Counts{Layout{Levels: 2}, 1e7, 1, 1.001, 1}).Power(10); !errors.Is(err, ErrTooLarge) {
		t.Errorf("counts of ten millions: %v", err)
	}
}

// The mean and the variance of the tables that counts are drawn from.
func TestCounterHasItsMoments(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ mean, dispersion float64 }{
		{8, 2}, {8, 0.5}, {0.3, 1}, {0.3, 6}, {250, 30}, {3, 0.01}, {40, 1.0000001}, {2000, 0.9},
	} {
		d, err := newCounter(c.mean, c.dispersion)
		if err != nil {
			t.Fatal(err)
		}
		var mean, square, before float64
		for i, p := range d.cdf {
			x := float64(d.first+i) - c.mean
			mean += (p - before) * x
			square += (p - before) * x * x
			before = p
		}
		near(t, "mean", mean, 0, 1e-9*c.mean)
		want := c.mean * c.dispersion
		if c.dispersion < 1 { // a whole number of tries
			tries := max(math.Ceil(c.mean/(1-c.dispersion)), math.Floor(c.mean)+1)
			want = c.mean * (1 - c.mean/tries)
		}
		near(t, "variance", square, want, 1e-6*want)
	}
}
