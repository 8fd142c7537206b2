//go:build slow

package model

import (
	"math/rand/v2"
	"testing"
)

// A million rows settle, with light and without. Where many rows are alike the
// rounding of their sum is all to one side, so that a likelihood added up
// plainly never tells that it rises.
func TestLogisticOfAMillionRows(t *testing.T) {
	t.Parallel()
	const n = 1_000_000
	rng := rand.New(rand.NewPCG(1, 1))
	medium := Factor{Name: "medium", Levels: []string{"a", "b", "c", "d", "e", "f"}, Of: make([]int, n)}
	light, y := make([]float64, n), make([]float64, n)
	for i := range n {
		medium.Of[i], light[i] = rng.IntN(6), 12+rng.NormFloat64()
		if rng.Float64() < 0.5+0.02*float64(medium.Of[i]) {
			y[i] = 1
		}
	}
	bare := Terms{Treatments: []Treatment{{medium, PerPlant}}}
	full := bare
	full.Light = &Variable{"light", light}
	for name, terms := range map[string]Terms{"bare": bare, "full": full} {
		d, err := NewDesign(n, terms)
		if err != nil {
			t.Fatal(err)
		}
		f, err := d.Logistic(y)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if _, err := f.Partial(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}
