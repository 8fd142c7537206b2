package correlate

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
)

// slopeOf is an estimate as a slope with its test.
func slopeOf(e model.Estimate) Slope {
	s := Slope{Slope: analysis.Known(e.Value), DF: analysis.Known(e.DF)}
	if e.OK() {
		s.SE, s.CI95, s.P = analysis.Known(e.SE), analysis.Interval(e), analysis.Known(e.P())
	}
	return s
}

// exp2 is an interval's antilogarithm.
func exp2(ci [2]float64) [2]float64 { return [2]float64{math.Exp(ci[0]), math.Exp(ci[1])} }

// seedFor makes one seed for each use of random numbers, so that adding an
// outcome does not change another's draws.
func (o Options) seedFor(use string, of ...string) uint64 {
	h := fnv.New64a()
	for _, s := range append([]string{use}, of...) {
		_, _ = h.Write([]byte(s)) // never fails
		_, _ = h.Write([]byte{0})
	}
	return rand.New(rand.NewPCG(o.Seed, h.Sum64())).Uint64()
}
