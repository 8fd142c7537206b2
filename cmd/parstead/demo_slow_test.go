//go:build slow

package main

import (
	"math"
	"testing"

	"parstead/cmd/parstead/demo"
)

// How often each claim of the demo holds over 200 seasons, with the Monte Carlo
// error of that share.
func TestHowOftenClaimsHold(t *testing.T) {
	const seasons = 200
	var planted []string
	held := map[int]float64{}
	for seed := range uint64(seasons) {
		w, result := simulated(t, demo.Config{Seed: 10_000 + seed})
		planted = planted[:0]
		for i, c := range w.Claims(result) {
			planted = append(planted, c.Planted)
			if c.Holds {
				held[i]++
			}
		}
	}
	for i, what := range planted {
		share := held[i] / seasons
		t.Logf("%3.0f %% ± %.0f  %s", 100*share, 100*math.Sqrt(share*(1-share)/seasons), what)
	}
}
