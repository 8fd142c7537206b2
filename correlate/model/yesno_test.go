package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/combin"
)

// answersOf makes rows out of counts by level.
func answersOf(yes, n []int) (of []int, y []float64) {
	for l := range n {
		for i := range n[l] {
			of = append(of, l)
			if i < yes[l] {
				y = append(y, 1)
			} else {
				y = append(y, 0)
			}
		}
	}
	return of, y
}

// Tables with published or computed p values: testdata/tables/README.md.
func TestShares(t *testing.T) {
	t.Parallel()
	var ref struct {
		Tables []struct {
			Name string
			Rows [][]int
			P    float64
		} `json:"exact_tables"`
	}
	readJSON(t, &ref, "tables", "tests_and_power.json")
	checked := 0
	for _, c := range ref.Tables {
		if len(c.Rows[0]) != 2 {
			continue // more than two answers
		}
		checked++
		yes, n := make([]int, len(c.Rows)), make([]int, len(c.Rows))
		f := groups(len(c.Rows), 0)
		for l, row := range c.Rows {
			yes[l], n[l] = row[0], row[0]+row[1]
		}
		var y []float64
		f.Of, y = answersOf(yes, n)
		s, err := ShareOf(f, y, 1)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.Name, s.Test.P, c.P, 1e-10, 0)
		if len(s.Pairs) == 1 {
			near(t, c.Name+" as a pair", s.Pairs[0].P, s.Test.P, 1e-12, 0)
		}
	}
	if checked < 5 {
		t.Errorf("only %d tables checked", checked)
	}
}

func TestSharePairs(t *testing.T) {
	t.Parallel()
	f := groups(3, 0)
	var y []float64
	f.Of, y = answersOf([]int{2, 9, 0}, []int{12, 12, 12})
	s, err := ShareOf(f, y, 1)
	if err != nil {
		t.Fatal(err)
	}
	p := s.Pairs[0] // coir against bark
	if p.A != 1 || p.B != 0 || !p.OK {
		t.Fatalf("%+v", p)
	}
	near(t, "odds ratio", p.OddsRatio, 9.0*10/(3*2), 1e-14, 0)
	near(t, "log standard error", p.LogSE, math.Sqrt(1/2.+1/10.+1/9.+1/3.), 1e-14, 0)
	// Hypergeometric by hand: 11 yes of 24, tables as unlikely as 9 : 2.
	var sum float64
	at := func(x int) float64 {
		return float64(combin.Binomial(12, x)) * float64(combin.Binomial(12, 11-x)) / float64(combin.Binomial(24, 11))
	}
	for x := range 12 {
		if at(x) <= at(9)*(1+1e-7) {
			sum += at(x)
		}
	}
	near(t, "p single", p.PSingle, sum, 1e-12, 0)
	near(t, "p", p.P, 3*sum, 1e-12, 0)
	if !(p.CI95[0] < p.OddsRatio && p.OddsRatio < p.CI95[1]) {
		t.Errorf("interval %v", p.CI95)
	}
	for _, p := range s.Pairs[1:] {
		if p.OK || p.A != 2 || !(p.P > 0 && p.P <= 1) {
			t.Errorf("a zero cell: %+v", p)
		}
	}
	if _, err := ShareOf(f, make([]float64, 36), 1); err != nil {
		t.Errorf("no event at all: %v", err)
	}
	y[3] = 2
	if _, err := ShareOf(f, y, 1); err == nil {
		t.Error("an answer of 2 passed")
	}
}

func TestDealShares(t *testing.T) {
	t.Parallel()
	// Six bins of eight plants, three a level: 20 deals. The most extreme deal
	// and its mirror image: p = 2/20.
	bins := groups(6, 8)
	floods := Factor{Name: "floods", Levels: []string{"once", "twice"}}
	var y []float64
	bins.Of, y = answersOf([]int{0, 1, 2, 5, 6, 8}, []int{8, 8, 8, 8, 8, 8})
	for _, b := range bins.Of {
		floods.Of = append(floods.Of, b/3)
	}
	d, err := DealShares(bins, floods, nil, y, 1)
	if err != nil {
		t.Fatal(err)
	}
	if d.Deals != 20 || !d.Listed || !d.OK || math.Abs(d.P-0.1) > 1e-15 {
		t.Errorf("%+v", d)
	}
	// Blocks of two bins leave 2 · 2 · 2 deals: no p.
	block := Factor{Name: "shelf", Levels: []string{"low", "mid", "top"}}
	paired := Factor{Name: "floods", Levels: floods.Levels}
	for _, b := range bins.Of {
		block.Of = append(block.Of, b/2)
		paired.Of = append(paired.Of, b%2)
	}
	d, err = DealShares(bins, paired, &block, y, 1)
	if err != nil || d.Deals != 8 || d.OK || d.P != 0 {
		t.Errorf("%+v, %v", d, err)
	}
	// Three levels over six bins: 90 deals; a share that is the same everywhere
	// can't be less extreme than any.
	third := Factor{Name: "floods", Levels: []string{"a", "b", "c"}}
	for _, b := range bins.Of {
		third.Of = append(third.Of, b/2)
	}
	_, same := answersOf([]int{2, 2, 2, 2, 2, 2}, []int{8, 8, 8, 8, 8, 8})
	d, err = DealShares(bins, third, nil, same, 1)
	if err != nil || d.Deals != 90 || d.P != 1 {
		t.Errorf("%+v, %v", d, err)
	}
	// A bin that lost all its plants is no unit.
	lost := bins
	lost.Levels = append(append([]string{}, bins.Levels...), "empty")
	d, err = DealShares(lost, floods, nil, y, 1)
	if err != nil || d.Deals != 20 || len(d.Names) != 6 {
		t.Errorf("%+v, %v", d, err)
	}
	if !panics(func() { _, _ = DealShares(bins, Factor{Of: make([]int, 1)}, nil, y, 1) }) {
		t.Error("a factor of another length passed")
	}
}

// Listed and drawn deals must agree, blocks kept in both.
func TestDealSharesDrawn(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 8))
	value := make([]float64, 16)
	level, block := make([]int, 16), make([]int, 16)
	for u := range value {
		value[u] = rng.NormFloat64() + 0.8*float64(u%2)
		level[u], block[u] = u%2, u/8
	}
	d := newUnitDeals(value, level, block)
	if d.count() != 70*70 {
		t.Fatalf("%v deals", d.count())
	}
	observed := d.statistic() * (1 - 1e-9)
	as, all := 0, 0
	d.list(func() {
		all++
		if d.statistic() >= observed {
			as++
		}
	})
	if all != 4900 {
		t.Fatalf("%d deals listed", all)
	}
	drawn := 0
	for range 20000 {
		d.draw(rng)
		if d.statistic() >= observed {
			drawn++
		}
	}
	p, q := float64(as)/4900, float64(drawn)/20000
	if mc := math.Sqrt(p * (1 - p) / 20000); math.Abs(p-q) > 4*mc {
		t.Errorf("listed %v, drawn %v, Monte Carlo error %v", p, q, mc)
	}
	// Many bins are drawn, and the same seed gives the same p.
	units := groups(6, 4)
	units.Levels = make([]string, 24)
	treatment := Factor{Levels: []string{"a", "b"}, Of: make([]int, 24)}
	y := make([]float64, 24)
	units.Of = make([]int, 24)
	for i := range y {
		units.Of[i], treatment.Of[i] = i, i%2
		y[i] = float64((i / 3) % 2)
	}
	a, err := DealShares(units, treatment, nil, y, 3)
	if err != nil || a.Listed || !a.OK || !(a.P > 0 && a.P <= 1) {
		t.Fatalf("%+v, %v", a, err)
	}
	if b, _ := DealShares(units, treatment, nil, y, 3); b.P != a.P {
		t.Errorf("the same seed gives %v, then %v", a.P, b.P)
	}
}

func panics(f func()) (did bool) {
	defer func() { did = recover() != nil }()
	f()
	return false
}
