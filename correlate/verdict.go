package correlate

import (
	"math"

	"parstead/correlate/kind"
)

// verdict reads a comparison off its interval: ci is of a difference or a
// ratio, mean is b's.
//
// Equivalent: the whole interval lies within the smallest difference that
// matters, ± m on a difference and 1/(1+m) to 1+m on a ratio, a share being of
// b's mean.
func (s *sample) verdict(ci *[2]float64, mean *float64) string {
	if ci == nil {
		return ""
	}
	none := 0.0
	if s.ratio() {
		none = 1
	}
	switch {
	case ci[0] > none:
		return Larger
	case ci[1] < none:
		return Smaller
	}
	if low, high, ok := s.indifferent(mean); ok && ci[0] >= low && ci[1] <= high {
		return Equivalent
	}
	return CantTell
}

// indifferent is the range of differences or ratios that do not matter; ok is
// false where the outcome does not say, or says it in a way that has no
// meaning here.
func (s *sample) indifferent(mean *float64) (low, high float64, ok bool) {
	m := s.out.Matters
	if m == nil {
		return 0, 0, false
	}
	value := m.Value
	switch {
	case s.ratio() && !m.Share:
		if s.contrast() == kind.OddsRatio || mean == nil || !(*mean > 0) {
			return 0, 0, false // an absolute difference of shares is no odds ratio
		}
		value /= *mean
	case !s.ratio() && m.Share:
		if mean == nil {
			return 0, 0, false
		}
		value *= math.Abs(*mean)
	}
	if s.ratio() {
		return 1 / (1 + value), 1 + value, true
	}
	return -value, value, true
}
