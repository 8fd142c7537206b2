package kind

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/correlate/analysis"
)

// Amount is a difference on the analysed scale.
//
// Errors: a share of a mean that is zero or unknown; an amount per mean likewise.
func Amount(f *analysis.Planning, d analysis.Difference, c Contrast) (float64, error) {
	log := c != Difference
	switch {
	case log && d.Share:
		return math.Log1p(d.Value), nil
	case log:
		if f.Level > 0 {
			return math.Log1p(d.Value / f.Level), nil
		}
	case !d.Share:
		return d.Value, nil
	case f.Level != 0 && !math.IsNaN(f.Level):
		return d.Value * math.Abs(f.Level), nil
	}
	return 0, errors.New("the mean is zero or not known, so that a share of it says nothing")
}

var errNoSpread = errors.New("how much replicates vary, or the difference, is no number that a size could rest on")

// sdLimit is the factor from an estimated standard deviation on df to the limit
// that χ² exceeds with probability 1 − p.
//
//	√(df/χ²ₚ(df))
func sdLimit(df, p float64) float64 {
	return math.Sqrt(df / distuv.ChiSquared{K: df}.Quantile(p))
}
