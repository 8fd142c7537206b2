package field

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// What a grower does not know of a bin's light is how noisy the meter is, how
// much places differ, over what distances, and how far the edges fall off. Each
// is given the values below with a weight, and the map is the average over all
// of them. The values are common practice, no source: they were chosen on
// simulated bars, panels, tubes and point sources, and judged on others.

// step is between the values of noise and of spread, so that their ratios are
// powers of it too.
const step = 1.7

// noises are the standard deviations, natural log, of one reading, and spreads
// those of the light over a bin's places.
var (
	noises  = ladder(0.02, 5)
	spreads = ladder(0.02, 9)
)

func ladder(least float64, n int) []float64 {
	values := make([]float64, n)
	for k := range values {
		values[k] = least * math.Pow(step, float64(k))
	}
	return values
}

// The logarithms of the priors' densities, up to a constant.
func noisePrior(tau float64) float64    { return logNormal(tau, 0.06, 0.45) }
func spreadPrior(sigma float64) float64 { return logNormal(sigma, 0.16, 0.6) }

func logNormal(x, median, sd float64) float64 {
	z := math.Log(x/median) / sd
	return -z * z / 2
}

// weighted is a value that may be true, with its weight.
type weighted struct{ value, weight float64 }

// falls are how far the light falls off from the middle to the edges, in spreads
// by bowl: corners lie one to two spreads below the mean under every kind of
// lamp, yet not always.
var falls = []weighted{{1.1, 0.30}, {0.6, 0.35}, {0, 0.25}, {-0.8, 0.10}}

var logFalls = logWeights(falls)

func logWeights(of []weighted) (logs []float64) {
	for _, w := range of {
		logs = append(logs, math.Log(w.weight))
	}
	return logs
}

// patches are the shares of the variance that no neighbour shares: local shadows.
var patches = []weighted{{0, 0.6}, {0.1, 0.4}}

// drawn is the variance beside the fall-off to the edges, in squares of the spread.
const drawn = 0.8

// shape is a way in which neighbours' light is alike, with its weight: a
// covariance of the places about their mean, of a mean variance of 1.
type shape struct {
	weight float64
	cells  *mat.SymDense
}

// shapes are those of a grid: alike by distance; or by row and by column, each
// lamp's bars and walls having a direction.
func (g grid) shapes() []shape {
	var list []shape
	for _, f := range []float64{0.35, 0.9} {
		reach := max(f*max(g.width(), g.depth()), 0.7*min(g.pitchRows, g.pitchColumns))
		k := g.correlation(func(x, y float64) float64 { return matern(math.Hypot(x, y) / reach) })
		list = append(list, shape{0.2, centred(k)})
	}
	for _, f := range []float64{0.5, 1.5} {
		across := centred(g.correlation(func(x, _ float64) float64 { return matern(x / (f * g.width())) }))
		along := centred(g.correlation(func(_, y float64) float64 { return matern(y / (f * g.depth())) }))
		k := mat.NewSymDense(g.places(), nil)
		a, b, to := across.RawSymmetric().Data, along.RawSymmetric().Data, k.RawSymmetric().Data
		for i := range to {
			to[i] = a[i] * b[i]
		}
		k = centred(k)
		k.ScaleSym(0.15, k)
		k.AddSym(k, across)
		k.AddSym(k, along)
		list = append(list, shape{0.3, centred(k)})
	}
	return list
}

// patchVariance is the mean variance of 1 of places that have nothing in common,
// given to each: 1 less what their own mean takes.
func (g grid) patchVariance() float64 {
	n := float64(g.places())
	return n / max(n-1, 1)
}
