package field

import (
	"math"

	"gonum.org/v1/gonum/floats"
)

// NoMapError is the error, as a share, of giving every position the light that
// the bin's sensors show (common practice, no source).
const NoMapError = 0.20

// fewPlaces are so few surveyed positions that the others can't be known better
// than without a survey.
const fewPlaces = 3

// What one place or two show of a bin is how bins are, and the larger one is, the more
// its places differ: errors grow with the root of its diagonal over this one's, in cm
// (common practice, no source; chosen on simulated lamps, judged on others).
const (
	thinPlaces   = 2
	thinDiagonal = 30.0
)

// leftOutError is the root mean square by which means are off from what the others
// expect; NaN where there are no others.
func leftOutError(means []expected) float64 {
	sum, n := 0.0, 0.0
	for _, e := range means {
		if !math.IsInf(e.sd, 1) {
			sum += e.off * e.off
			n++
		}
	}
	return math.Sqrt(sum / n)
}

// honest raises the errors of all positions of a large bin after one place or two, and
// those of positions where the meter did not stand: after a few
// readings to that of no map, and so that on average it is no less than what
// surveyed positions were off when left out, less the meter's own noise there.
func (w *walked) honest(m *Map) {
	if diagonal := math.Hypot(w.grid.width(), w.grid.depth()); m.Positions <= thinPlaces && diagonal > thinDiagonal {
		floats.Scale(math.Sqrt(diagonal/thinDiagonal), m.RelativeError)
	}
	var apart []int // places where the meter did not stand, nor a sensor
	square := 0.0
	for i, sd := range m.RelativeError {
		if m.Surveyed[i] || sd < alike {
			continue
		}
		if m.Positions <= fewPlaces {
			m.RelativeError[i] = max(sd, NoMapError)
		}
		apart = append(apart, i)
		square += m.RelativeError[i] * m.RelativeError[i]
	}
	if math.IsNaN(m.LeaveOneOut) || len(apart) == 0 {
		return
	}
	noise := 0.0
	for _, n := range w.n {
		noise += m.Noise * m.Noise / n / float64(len(w.n))
	}
	want := (m.LeaveOneOut*m.LeaveOneOut - noise) * float64(len(apart))
	if square >= want {
		return
	}
	for _, i := range apart {
		m.RelativeError[i] *= math.Sqrt(want / square)
	}
}
