package claimsworlds

import (
	"math"
	"slices"
)

// pairs states every pair of levels of f on the scale of the outcome.
func pairs(outcome string, s Scale, f factor, held ...string) Truth {
	var t Truth
	for i := range f.levels {
		for j := i + 1; j < len(f.levels); j++ {
			value := f.effects[j] - f.effects[i]
			t = append(t, Estimand{
				Outcome: outcome, Scale: s, Factor: f.name,
				From: f.levels[i], To: f.levels[j], Held: held,
				On: AllPlants, Standing: Judge, Value: value,
			})
		}
	}
	return t
}

// slope states a straight slope per one unit of a column of numbers.
func slope(outcome string, s Scale, column string, value float64, held ...string) Truth {
	return Truth{{
		Outcome: outcome, Scale: s, Factor: column, Held: held,
		On: AllPlants, Standing: Judge, Value: value,
	}}
}

// usualTruth states plant treatments within bins, bin treatments with light
// held, and the slope of light within bins. Everything else planned is held.
func usualTruth(outcome string, s Scale, plants, bins []factor, lightSlope float64) Truth {
	var t Truth
	for _, f := range plants {
		t = append(t, pairs(outcome, s, f, append([]string{"bin", "light"}, others(f, plants, bins)...)...)...)
	}
	for _, f := range bins {
		t = append(t, pairs(outcome, s, f, append([]string{"light"}, others(f, plants, bins)...)...)...)
	}
	held := append([]string{"bin"}, others(factor{}, plants, bins)...)
	return append(t, slope(outcome, s, "light", lightSlope, held...)...)
}

func others(f factor, groups ...[]factor) []string {
	var out []string
	for _, g := range groups {
		for _, h := range g {
			if h.name != f.name {
				out = append(out, h.name)
			}
		}
	}
	return out
}

// with changes every estimand of a truth.
func (t Truth) with(change func(e *Estimand)) Truth {
	out := slices.Clone(t)
	for i := range out {
		change(&out[i])
	}
	return out
}

// as gives every estimand a standing and a note.
func (t Truth) as(s Standing, note string) Truth {
	return t.with(func(e *Estimand) { e.Standing, e.Note = s, note })
}

// undefined says that nothing sensible can be stated, and why.
func (t Truth) undefined(why string) Truth {
	return t.with(func(e *Estimand) { e.Value, e.Note = math.NaN(), why })
}

// overNormal is the expectation of g(z) for a standard normal z.
func overNormal(g func(z float64) float64) float64 {
	const steps, reach = 4000, 9.0
	sum := 0.0
	for k := range steps {
		z := -reach + 2*reach*(float64(k)+0.5)/steps
		sum += g(z) * math.Exp(-z*z/2)
	}
	return sum * 2 * reach / steps / math.Sqrt(2*math.Pi)
}

// marginalLogOdds is the log odds of the rate averaged over bins whose own
// log odds spread normally by sd; it is nearer to 0 than the one in a bin.
func marginalLogOdds(eta, sd float64) float64 {
	return logit(overNormal(func(z float64) float64 { return expit(eta + sd*z) }))
}

// survivorShift is the mean of z among survivors if the log odds of loss
// are a + k·z and z is standard normal.
func survivorShift(a, k float64) float64 {
	alive := overNormal(func(z float64) float64 { return expit(-a - k*z) })
	return overNormal(func(z float64) float64 { return z * expit(-a-k*z) }) / alive
}

// slopeWithinBins is the least-squares slope of y on x within bins.
func slopeWithinBins(x, y []float64, bin []int) float64 {
	size, mx, my := map[int]float64{}, map[int]float64{}, map[int]float64{}
	for i, k := range bin {
		size[k]++
		mx[k] += x[i]
		my[k] += y[i]
	}
	var sxy, sxx float64
	for i, k := range bin {
		dx := x[i] - mx[k]/size[k]
		sxy += dx * (y[i] - my[k]/size[k])
		sxx += dx * dx
	}
	return sxy / sxx
}
