//go:build slow && worlds

package correlate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

func init() { longCases, oneIn = append(longCases, answersInBins), 1 }

// answersInBins are events in bins that differ by themselves, the wet ones being
// the dim ones: light is judged within them. Bounds: at most 5.5 % of alarms, the
// slope's interval holds it in at least 91.5 %.
func answersInBins() []trialCase {
	var cases []trialCase
	for _, k := range []struct {
		bins, perBin int
		share        float64
		alone        bool
	}{{10, 12, 0.3, true}, {6, 24, 0.3, false}, {8, 12, 0.06, true}, {20, 4, 0.3, true}} {
		cases = append(cases, trialCase{
			name: fmt.Sprintf("events on %g %%, %d unequal bins", 100*k.share, k.bins), trials: 2000,
			bounds: map[string]bound{"light alarms": {0, 0.055, ""}, "medium alarms": {0, 0.055, ""}, "light slope holds": {0.915, 1, ""}},
			draw: func(t *testing.T, rng *rand.Rand, c *calibrated) {
				t.Helper()
				in := grown(rng, k.bins, k.perBin, 3)
				if k.alone {
					in.Treatments = nil
					c.count("medium alarms", false)
				}
				own := make([]float64, k.bins)
				for b := range own {
					own[b] = 1.2 * rng.NormFloat64()
				}
				for i, b := range in.Bin.Codes {
					in.Light.Values[i] -= own[b]
				}
				o := &in.Outcomes[0]
				o.Kind, o.Start = YesNo, nil
				answer := func(slope float64) OutcomeResult {
					for i, b := range in.Bin.Codes {
						odds := math.Log(k.share/(1-k.share)) + own[b] + slope*(in.Light.Values[i]+own[b]-4.5)
						o.Values[i] = 0
						if rng.Float64() < 1/(1+math.Exp(-odds)) {
							o.Values[i] = 1
						}
					}
					return analyse(t, in)
				}
				c.tests(answer(0), "medium", "light")
				if r := answer(0.7); r.Light != nil {
					c.holds("light slope holds", r.Light.CI95, 0.7)
				}
			},
		})
	}
	return cases
}
