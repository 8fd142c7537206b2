package analysis

import (
	"encoding/json"
	"math"
)

// Limits are the ends of an interval; one at ±Inf is open, and null in JSON.
type Limits [2]float64

// KnownLimits is an interval for a result that may be open at one end; absent where it
// is open at both or has no ends.
func KnownLimits(ci [2]float64) *Limits {
	if math.IsNaN(ci[0]) || math.IsNaN(ci[1]) || Known(ci[0]) == nil && Known(ci[1]) == nil {
		return nil
	}
	l := Limits(ci)
	return &l
}

// Closed is the interval where both ends are known; nil where not.
func (l *Limits) Closed() *[2]float64 {
	if l == nil {
		return nil
	}
	return KnownPair(*l)
}

// MarshalJSON writes the ends.
func (l Limits) MarshalJSON() ([]byte, error) {
	return json.Marshal([2]*float64{Known(l[0]), Known(l[1])})
}
