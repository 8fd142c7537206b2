package dist

import (
	"math"
	"testing"
)

// Interpolated points are those found one by one, over any stretch of degrees of
// freedom that pairs of groups with their own spreads may have.
func TestPointsForManyDegreesOfFreedom(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		k           int
		least, most float64
	}{{3, 1, 1.5}, {3, 1, 400}, {6, 2.2, 38}, {200, 9, 18}, {50, 7, 7}, {20, 4, math.Inf(1)}} {
		df := make([]float64, 150)
		for i := range df {
			df[i] = 1 / (1/c.most + (1/c.least-1/c.most)*float64(i)/149)
		}
		r := NewStudentizedRange(c.k, 10)
		for i, q := range r.Points(0.05, df) {
			if want := NewStudentizedRange(c.k, df[i]).InverseSurvival(0.05); !within(q, want, 1e-10) {
				t.Errorf("k %d, df %v: %v, want %v", c.k, df[i], q, want)
			}
		}
	}
}
