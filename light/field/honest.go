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

// honest raises the errors of positions where the meter did not stand: after a few
// readings to that of no map, and so that on average it is no less than what
// surveyed positions were off when left out, less the meter's own noise there.
func (w *walked) honest(m *Map) {
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

// What neighbouring readings don't show of a handheld meter, since it is alike in
// them (common practice, no source).
const (
	heldError  = 0.01 // of a reading: its height and angle, held alike for a row or two
	slantError = 0.01 // by a unit of the bowl: how much of the light that comes aslant it sees, 3 % from the middle to a corner
)

// inHand adds to the errors of places what the meter in the hand adds to them beside the
// anchors' weights.
func (w *walked) inHand(m *Map, anchors []float64) {
	readings := make([]float64, len(m.RelativeError))
	for i, c := range w.cell {
		readings[c] += w.n[i]
	}
	held := func(place int) float64 {
		if readings[place] == 0 {
			return 0 // it shows nothing of it
		}
		return heldError * heldError / readings[place]
	}
	bowl := w.grid.bowl()
	middle, all := 0.0, 0.0
	if anchors != nil {
		middle = floats.Dot(anchors, bowl)
		for i, a := range anchors {
			all += a * a * held(i)
		}
	}
	for i, sd := range m.RelativeError {
		a := 0.0
		if anchors != nil {
			a = anchors[i]
		}
		slant := slantError * (bowl[i] - middle)
		m.RelativeError[i] = math.Sqrt(sd*sd + all + (1-2*a)*held(i) + slant*slant) // (1 − a)² − a² of its own
	}
}
