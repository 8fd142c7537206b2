package dist

import (
	"math"
	"slices"
)

// fewestInterpolated is how many degrees of freedom make interpolation cheaper.
const fewestInterpolated = 100

// Points is the upper p point, 0 < p < 1, for each of the degrees of freedom given,
// as InverseSurvival gives it: all of them, or, where there are many, interpolated to
// 1e-10 relative.
//
// The logarithm of the point is smooth in 1/ν. It is interpolated at Chebyshev points
// between the least and the largest 1/ν by the second barycentric formula, their number
// doubled until the points between agree.
//
// Reference: Berrut, Trefethen (2004). SIAM Review 46:501–517, formula 5.4.
func (r *StudentizedRange) Points(p float64, df []float64) []float64 {
	points := make([]float64, len(df))
	exact := func(df float64) float64 { return r.With(df).InverseSurvival(p) }
	if len(df) >= fewestInterpolated {
		if f := interpolated(exact, slices.Min(df), slices.Max(df)); f != nil {
			for i, v := range df {
				points[i] = f(v)
			}
			return points
		}
	}
	for i, v := range df {
		points[i] = exact(v)
	}
	return points
}

// interpolated is nil where so few points do not do.
func interpolated(exact func(df float64) float64, least, most float64) func(df float64) float64 {
	from, to := 1/most, 1/least
	if from == to {
		q := exact(least)
		return func(float64) float64 { return q }
	}
	at := func(turn float64) float64 { return (from+to)/2 - (to-from)/2*math.Cos(math.Pi*turn) }
	for n := 8; n <= 64; n *= 2 {
		x, y := make([]float64, n+1), make([]float64, n+1)
		for i := range x {
			x[i] = at(float64(i) / float64(n))
			y[i] = math.Log(exact(1 / x[i]))
		}
		f := func(df float64) float64 { return math.Exp(barycentric(x, y, 1/df)) }
		agrees := true
		for i := range n {
			df := 1 / at((float64(i)+0.5)/float64(n))
			agrees = agrees && math.Abs(f(df)/exact(df)-1) < 1e-11
		}
		if agrees {
			return f
		}
	}
	return nil
}

// barycentric is the polynomial through y at the Chebyshev points x.
func barycentric(x, y []float64, at float64) float64 {
	var above, below float64
	for i := range x {
		d := at - x[i]
		if d == 0 {
			return y[i]
		}
		w := 1 / d
		if i%2 == 1 {
			w = -w
		}
		if i == 0 || i == len(x)-1 {
			w /= 2
		}
		above += w * y[i]
		below += w
	}
	return above / below
}
