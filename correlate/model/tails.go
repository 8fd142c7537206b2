package model

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// tTwoSided is P(|T| ≥ |t|) for Student's t on df degrees of freedom.
//
//	I_x(df/2, 1/2), x = df/(df + t²)
func tTwoSided(t, df float64) float64 {
	return mathext.RegIncBeta(df/2, 0.5, df/(df+t*t))
}

// fUpper is P(F ≥ f) for Fisher's F on d1 and d2 degrees of freedom.
//
//	I_x(d2/2, d1/2), x = d2/(d2 + d1 f)
func fUpper(f, d1, d2 float64) float64 {
	return mathext.RegIncBeta(d2/2, d1/2, d2/(d2+d1*f))
}

// tQuantile is the point that Student's t on df degrees of freedom exceeds in
// size with probability p (two-sided).
//
// Newton's steps in ln t on the logarithm of the tail, which is concave there,
// from the normal point; they stop at rounding.
func tQuantile(p, df float64) float64 {
	lg := func(v float64) float64 { g, _ := math.Lgamma(v); return g }
	logC := lg((df+1)/2) - lg(df/2) - math.Log(df*math.Pi)/2
	t := math.Sqrt2 * math.Erfcinv(p)
	for range 40 {
		tail := tTwoSided(t, df)
		density := math.Exp(logC - (df+1)/2*math.Log1p(t*t/df))
		step := math.Log(tail/p) * tail / (2 * density * t)
		t *= math.Exp(step)
		if math.Abs(step) < 1e-14 {
			break
		}
	}
	return t
}
