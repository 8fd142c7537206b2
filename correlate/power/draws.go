package power

import (
	"errors"
	"math"
	"math/rand/v2"
	"sort"
)

// ErrTooLarge is returned for counts so large that they are better taken as a
// measure.
var ErrTooLarge = errors.New("the counts run into millions: take them as a measure")

// mostValues bounds the table of a distribution of counts.
const mostValues = 2_000_000

// counter draws counts of a given mean whose variance is φ times it.
type counter struct {
	cdf   []float64
	first int   // the count that cdf[0] belongs to
	guide []int // where a search of the cdf starts, by u in even steps
}

// newCounter is the negative binomial for φ > 1, Poisson's for φ = 1 and the
// binomial for φ < 1, whose φ is rounded up to what a whole number of tries gives.
//
//	φ > 1: size μ/(φ − 1);  φ < 1: m = ⌈μ/(1 − φ)⌉ tries of chance μ/m
func newCounter(mean, dispersion float64) (*counter, error) {
	spread := math.Sqrt(mean * dispersion)
	if mean+40*(spread+dispersion) > mostValues {
		return nil, ErrTooLarge
	}
	logP := logChances(mean, dispersion)
	// From the mode both ways, to 1e-15 of what is most likely.
	mode := int(mean)
	const least = -35
	top, low, high := logP(mode), mode, mode+1
	for low > 0 && logP(low-1) > top+least {
		low--
	}
	for high < mostValues && logP(high) > top+least {
		high++
	}
	c := &counter{first: low, cdf: make([]float64, high-low), guide: make([]int, high-low)}
	sum := 0.0
	for i := range c.cdf {
		sum += math.Exp(logP(low+i) - top)
		c.cdf[i] = sum
	}
	for i := range c.cdf {
		c.cdf[i] /= sum
	}
	for i := range c.guide {
		u := float64(i) / float64(len(c.guide))
		c.guide[i] = sort.SearchFloat64s(c.cdf, u)
	}
	return c, nil
}

// logChances is ln P(x) but for a constant.
func logChances(mean, dispersion float64) func(x int) float64 {
	gamma := func(x float64) float64 { g, _ := math.Lgamma(x); return g }
	switch near := 1e-6; {
	case dispersion > 1+near:
		size := mean / (dispersion - 1)
		p := math.Log(1 - 1/dispersion)
		return func(x int) float64 { return gamma(float64(x)+size) - gamma(float64(x)+1) + float64(x)*p }
	case dispersion < 1-near:
		tries := max(math.Ceil(mean/(1-dispersion)), math.Floor(mean)+1)
		odds := math.Log(mean) - math.Log(tries-mean)
		return func(x int) float64 {
			if float64(x) > tries {
				return math.Inf(-1)
			}
			return float64(x)*odds - gamma(float64(x)+1) - gamma(tries-float64(x)+1)
		}
	}
	return func(x int) float64 { return float64(x)*math.Log(mean) - gamma(float64(x)+1) }
}

// draw is one count.
func (c *counter) draw(rng *rand.Rand) float64 {
	u := rng.Float64()
	i := c.guide[int(u*float64(len(c.guide)))]
	for i < len(c.cdf)-1 && c.cdf[i] < u {
		i++
	}
	return float64(c.first + i)
}
