//go:build slow

package model

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Calibration of the least-squares side on made-up trials without any effect:
// how often each test alarms at 5 %, and how often each interval holds the
// truth. Seeded; the Monte Carlo error of a share of 5 % in 10,000 trials is
// 0.0022, and every bound is widened by three of them.

const trials = 10000

// share demands a share within low to high, widened by three Monte Carlo errors.
func share(t *testing.T, what string, hits, of int, low, high float64) {
	t.Helper()
	got := float64(hits) / float64(of)
	mc := math.Sqrt(0.05 * 0.95 / float64(of))
	t.Logf("%-60s %.4f (Monte Carlo error %.4f)", what, got, mc)
	if got < low-3*mc || got > high+3*mc {
		t.Errorf("%s: %.4f, want %g to %g", what, got, low, high)
	}
}

// Treatments set per plant: 2 bins that differ, 6 media, a covariate.
func TestCalibrationPerPlant(t *testing.T) {
	t.Parallel()
	for _, plants := range []int{4, 8, 24} { // a medium
		rng := rand.New(rand.NewPCG(101, uint64(plants)))
		n := 6 * plants
		var alarms, robust, family, redealt, moran int
		for range trials {
			medium := Factor{Name: "medium", Levels: []string{"a", "b", "c", "d", "e", "f"}, Of: make([]int, n)}
			bin := Factor{Name: "bin", Levels: []string{"1", "2"}, Of: make([]int, n)}
			start, y := make([]float64, n), make([]float64, n)
			row, column := make([]int, n), make([]int, n)
			binEffect := [2]float64{rng.NormFloat64(), rng.NormFloat64()}
			for i := range n {
				medium.Of[i], bin.Of[i] = i%6, i*2/n
				row[i], column[i] = i/6, i%6
				start[i] = rng.NormFloat64()
				y[i] = 0.7*start[i] + binEffect[bin.Of[i]] + rng.NormFloat64()
			}
			shuffle := NewShuffle(medium.Of, bin.Of)
			shuffle.Deal(rng, medium.Of) // media stand at random within bins
			f := fitted(t, Terms{Bin: &bin, Treatments: []Treatment{{medium, PerPlant}}, Covariates: []Variable{{"start", start}}}, y)
			test, _ := f.Design.Effect(Term{Kind: KindTreatment, A: "medium"})
			for _, p := range must(f.Partial()) {
				if p.Kind == KindTreatment && p.P < 0.05 {
					alarms++
				}
			}
			if must(f.Coefficients())[test.First].HC3.P() < 0.05 {
				robust++
			}
			for _, p := range must(Compare(f, f.Design, f.Design.Families()[0])).Pairs {
				if p.CI95[0] > 0 || p.CI95[1] < 0 {
					family++
					break
				}
			}
			dealt := f.Design.Treatments()
			if Redeal(f, dealt, NewShuffle(f.Design.Combinations(dealt), bin.Of).Deal, 199, rng.Uint64())[0].P <= 0.05 {
				redealt++
			}
			if a, ok := Moran(f, SharedEdges(bin.Of, row, column), bin.Of, 199, rng.Uint64()); ok && a.P <= 0.05 {
				moran++
			}
		}
		t.Logf("%d plants a medium", plants)
		share(t, "F alarms", alarms, trials, 0.04, 0.06)
		// HC3 leans to caution or alarm in small samples by up to a point or two (Long, Ervin 2000).
		share(t, "robust alarms", robust, trials, 0.03, 0.07)
		// The studentized range is exact in balance and cautious out of it (Hayter 1984).
		share(t, "any of 15 intervals misses", family, trials, 0.03, 0.07)
		share(t, "re-dealt alarms", redealt, trials, 0.04, 0.06)
		share(t, "residual autocorrelation alarms", moran, trials, 0.03, 0.06)
	}
}

// A treatment set per bin: 6 bins of 24 plants that differ by chance as much as
// plants do. Beside it what counting plants as replicates would have claimed.
func TestCalibrationPerBin(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(102, 6))
	const bins, each = 6, 24
	var alarms, misses, naive int
	for range trials {
		var bin, feed []string
		var y []float64
		for b := range bins {
			e := rng.NormFloat64()
			for range each {
				bin = append(bin, string(rune('a'+b)))
				feed = append(feed, []string{"full", "half"}[b%2])
				y = append(y, e+rng.NormFloat64())
			}
		}
		bf, ff := factorOf("bin", bin...), factorOf("feed", feed...)
		s, err := FitStrata(len(y), Terms{Bin: &bf, Treatments: []Treatment{{ff, PerBin}}}, nil, Quantities(y))
		if err != nil {
			t.Fatal(err)
		}
		if s[1].Tests[0].P < 0.05 {
			alarms++
		}
		if ci := must(Compare(s[1].Model, s[1].Design, s[1].Families()[0])).Pairs[0].CI95; ci[0] > 0 || ci[1] < 0 {
			misses++
		}
		if must(fitted(t, Terms{Treatments: []Treatment{{ff, PerPlant}}}, y).Partial())[0].P < 0.05 {
			naive++
		}
	}
	share(t, "F alarms among bins", alarms, trials, 0.04, 0.06)
	share(t, "intervals among bins miss", misses, trials, 0.03, 0.07)
	share(t, "alarms if plants were counted as replicates", naive, trials, 0.4, 1)
}
