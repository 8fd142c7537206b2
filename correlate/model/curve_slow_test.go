//go:build slow

package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Intervals must hold the planted values in 95 % of trials: 1000 trials at
// noise that bends the profile, Monte Carlo error 0.7 %.
func TestCurveCoverage(t *testing.T) {
	t.Parallel()
	const trials = 1000
	rng := rand.New(rand.NewPCG(11, 12))
	covered := map[string]int{}
	fitted := 0
	for range trials {
		terms, y := rack(rng, 0.3, func(l float64) float64 { return 8 * l / (5 + l) })
		curves, err := Curves(len(y), terms, y, CurveOptions{})
		if err != nil {
			t.Fatal(err)
		}
		h := curves[1]
		if h.Err != nil {
			continue // no bend seen: K counts as not covered only where it is given
		}
		fitted++
		k := h.Parameters[2]
		// An end that the data leave open holds everything on its side.
		low, high := math.Exp(h.bent.low), math.Exp(h.bent.high)
		if (low <= 5 || !h.bent.lowOK) && (high >= 5 || !h.bent.highOK) {
			covered[k.Name]++
		}
		if p, ok := h.Predict(6); ok && p.CI95[0] <= 48.0/11+0.65+0.2*mean(terms.Covariates[0].Values) && p.CI95[1] >= 48.0/11+0.65+0.2*mean(terms.Covariates[0].Values) {
			covered["at 6"]++
		}
	}
	t.Logf("%d of %d fitted, covered %v", fitted, trials, covered)
	if fitted < trials*9/10 {
		t.Errorf("only %d fitted", fitted)
	}
	for name, n := range covered {
		share := float64(n) / float64(fitted)
		if mc := math.Sqrt(0.95 * 0.05 / float64(fitted)); math.Abs(share-0.95) > 0.02+3*mc {
			t.Errorf("%s: covered in %.3f", name, share)
		}
	}
}
