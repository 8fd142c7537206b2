package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// counted is a trial of counts with bins, a treatment and light.
func counted(rng *rand.Rand, effect float64) (Terms, []float64, []int, []int, []int) {
	const bins, rows, columns, levels = 2, 6, 6, 3
	n := bins * rows * columns
	bin, treatment := Factor{Name: "bin", Levels: []string{"1", "2"}}, Factor{Name: "medium", Levels: []string{"a", "b", "c"}}
	light, y := make([]float64, n), make([]float64, n)
	var row, column []int
	for i := range n {
		bin.Of = append(bin.Of, i/(rows*columns))
		treatment.Of = append(treatment.Of, i%levels)
		row, column = append(row, i%(rows*columns)/columns), append(column, i%columns)
		light[i] = 4 + rng.NormFloat64()
		mean := math.Exp(0.5 + 0.1*light[i] + effect*float64(i%levels))
		for p := rng.Float64(); p > math.Exp(-mean); p *= rng.Float64() {
			y[i]++
		}
	}
	rng.Shuffle(n, func(i, j int) {
		if bin.Of[i] == bin.Of[j] {
			treatment.Of[i], treatment.Of[j] = treatment.Of[j], treatment.Of[i]
		}
	})
	return Terms{Bin: &bin, Treatments: []Treatment{{treatment, PerPlant}}, Light: &Variable{"light", light}}, y, bin.Of, row, column
}

// Without an effect the test rejects one trial in twenty; with a strong one it
// agrees with F. 400 trials: 5 % has a Monte Carlo error of 1.1 %.
func TestCountRedealHoldsItsSize(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(11, 12))
	rejected := 0
	const trials = 400
	for range trials {
		terms, y, bins, _, _ := counted(rng, 0)
		d, err := NewDesign(len(y), terms)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Count(y, nil)
		if err != nil {
			t.Fatal(err)
		}
		at := d.Treatments()
		if r := Redeal(f, at, NewShuffle(d.Combinations(at), bins).Deal, 199, rng.Uint64()); r[0].P <= 0.05 {
			rejected++
		}
	}
	if share := float64(rejected) / trials; share < 0.05-3*0.011 || share > 0.05+3*0.011 {
		t.Errorf("rejected %.3f of trials without an effect, want 0.05 ± 0.033", share)
	}
}

// One treatment, no bins, no covariates: all weights are alike, so the step's F
// is that of the raw counts.
func TestCountRedealIsLeastSquaresWhereMeansAreAlike(t *testing.T) {
	t.Parallel()
	terms, y, _, _, _ := counted(rand.New(rand.NewPCG(1, 1)), 0.2)
	terms.Bin, terms.Light = nil, nil
	d, err := NewDesign(len(y), terms)
	if err != nil {
		t.Fatal(err)
	}
	counts, err := d.Count(y, nil)
	if err != nil {
		t.Fatal(err)
	}
	plain, err := d.Fit(y)
	if err != nil {
		t.Fatal(err)
	}
	at := d.Treatments()
	deal := NewShuffle(d.Combinations(at), nil).Deal
	a, b := Redeal(counts, at, deal, 999, 5), Redeal(plain, at, deal, 999, 5)
	if a[0].P != b[0].P {
		t.Errorf("p %v, by least squares %v", a[0].P, b[0].P)
	}
}

func TestCountBesideAndMoran(t *testing.T) {
	t.Parallel()
	terms, y, bins, row, column := counted(rand.New(rand.NewPCG(2, 2)), 0)
	light := terms.Light
	d, err := NewDesign(len(y), terms)
	if err != nil {
		t.Fatal(err)
	}
	whole, err := d.Count(y, nil)
	if err != nil {
		t.Fatal(err)
	}
	terms.Light = nil
	if d, err = NewDesign(len(y), terms); err != nil {
		t.Fatal(err)
	}
	f, err := d.Count(y, nil)
	if err != nil {
		t.Fatal(err)
	}
	e, vif, err := plants(t, terms, Counts{Y: y}).Beside("light", light.Values)
	if err != nil {
		t.Fatal(err)
	}
	list := must(whole.Coefficients())
	want := list[len(list)-1]
	near(t, "beside", e.Value, want.Value, 1e-9, 0)
	near(t, "beside se", e.SE, want.SE, 1e-9, 0)
	if vif < 1 || vif > 1.5 {
		t.Errorf("inflation %v of light that nothing else is like", vif)
	}
	a, ok := Moran(f, SharedEdges(bins, row, column), bins, 999, 3)
	if !ok || a.P < 0.001 || a.P > 1 || math.Abs(a.I) > 0.5 {
		t.Errorf("Moran %+v, ok %v", a, ok)
	}
}
