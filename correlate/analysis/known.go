package analysis

import (
	"math"

	"parstead/correlate/model"
)

// Known is x for a result, absent where it is no finite number.
func Known(x float64) *float64 {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return nil
	}
	return &x
}

// KnownPair is an interval for a result, absent unless both ends are finite.
func KnownPair(ci [2]float64) *[2]float64 {
	if Known(ci[0]) == nil || Known(ci[1]) == nil {
		return nil
	}
	return &ci
}

// Interval is an estimate's single 95 % interval, absent where it has none.
func Interval(e model.Estimate) *[2]float64 {
	if !e.OK() {
		return nil
	}
	return KnownPair(e.CI95())
}
