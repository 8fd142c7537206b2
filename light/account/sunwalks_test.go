package account

import (
	"math"
	"math/rand/v2"
	"testing"

	"parstead/light/field"
)

// walksOver are maps of a bin of sixteen places at hours of the clock: what a place
// gets, what its column gets by the hour, and what each walk alone saw.
func walksOver(hours, noise []float64, byHour float64) (made []field.Map, truth []float64) {
	random := rand.New(rand.NewPCG(11, 2026))
	for p := range 16 {
		truth = append(truth, 0.1*float64(p/4))
	}
	for k, h := range hours {
		m := field.Map{RelativeError: make([]float64, 16)}
		for p := range 16 {
			x := truth[p] + byHour*(h-12)/6*(float64(p%4)-1.5) + noise[k]*random.NormFloat64()
			m.Ratio = append(m.Ratio, math.Exp(x))
		}
		made = append(made, m)
	}
	return made, truth
}

// A walk in whose minutes shadows crossed the bin hardly counts beside three that agree,
// at whatever level each lies; of two walks neither is known to be the better.
func TestWalksThatAgreeCountMost(t *testing.T) {
	t.Parallel()
	hours := []float64{9, 11, 13, 15}
	made, _ := walksOver(hours, []float64{0.05, 0.8, 0.05, 0.05}, 0)
	for p := range made[2].Ratio {
		made[2].Ratio[p] *= 3 // the sensor was in a shadow then
	}
	w := weigh(made, hours)
	if w.shares[1] > 0.05 || w.shares[2] < 0.2 {
		t.Errorf("shares %.3f", w.shares)
	}
	if w = weigh(made[:2], hours[:2]); math.Abs(w.shares[0]-0.5) > 1e-9 {
		t.Errorf("of two %.3f", w.shares)
	}
}

// Where each column has the sun at its own hour, and five walks show it, the map
// follows the hour; where walks differ by chance it does not.
func TestHoursAreTakenInWhereWalksShowThem(t *testing.T) {
	t.Parallel()
	hours := []float64{8, 10, 12, 14, 16}
	even := []float64{0.05, 0.05, 0.05, 0.05, 0.05}
	made, truth := walksOver(hours, even, 0.6)
	w := weigh(made, hours)
	off, without := 0.0, 0.0
	for _, at := range []float64{9, 12.5, 15.5} {
		for p, x := range truth {
			sun := 0.6 * (at - 12) / 6 * (float64(p%4) - 1.5)
			off += square(w.at(made, p, at) - x - sun)
			without += square(sun)
		}
	}
	if off > 0.05*without {
		t.Errorf("hours take away %.0f %% of the variance that they make", 100*(1-off/without))
	}
	made, _ = walksOver(hours, []float64{0.3, 0.2, 0.3, 0.2, 0.3}, 0)
	if w = weigh(made, hours); w.hour != 0 {
		t.Errorf("hours by chance: %g", w.hour)
	}
}
