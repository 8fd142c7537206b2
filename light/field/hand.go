package field

import (
	"math"
	"time"

	"gonum.org/v1/gonum/floats"
)

// What neighbouring readings don't show of a handheld meter, since it is alike in
// them, where nothing tells how the hand is (common practice, no source).
const (
	heldError  = 0.01 // of a reading: its height and angle, held alike for a row or two
	slantError = 0.01 // by a unit of the bowl: how much of the light that comes aslant it sees, 3 % from the middle to a corner
)

// What a hand may hold alike in neighbouring readings, as a share of one, with what is
// thought of it before a walk's repeats are seen; how much of it the next reading
// keeps; and over how many readings that is looked for (common practice, no source;
// chosen on simulated walks, judged on others).
var hands = []weighted{{0, 0.6}, {0.01, 0.1}, {0.02, 0.15}, {0.04, 0.15}}

const (
	handKept  = 0.8
	handReach = 3
)

// anotherWalk is the silence after which a reading belongs to another walk.
const anotherWalk = 30 * time.Minute

// hand is the mean square of what the hand held alike, over what is thought of it
// before: from what repeats of one place differ by, neighbours' differences go
// together as far as a hand holds them. A walk without repeats shows nothing of it.
func (w *walked) hand() float64 {
	if w.df == 0 || w.within == 0 {
		return 1
	}
	readings := float64(len(w.of))
	logs := make([]float64, len(hands))
	for lag := 1; lag <= handReach; lag++ {
		product, pairs := 0.0, 0.0
		for k := lag; k < len(w.of); k++ {
			if w.of[k] != w.of[k-lag] && w.visit[k] == w.visit[k-lag] {
				product += w.from[k] * w.from[k-lag]
				pairs++
			}
		}
		if pairs == 0 {
			continue
		}
		together := product / pairs / (w.within / readings)
		free := pairs * w.df / readings
		for i, h := range hands {
			expected := math.Pow(handKept, float64(lag)) * min(1, h.value*h.value/(w.within/w.df))
			logs[i] -= (together - expected) * (together - expected) * free / 2
		}
	}
	top := floats.Max(logs)
	var before, square, all float64
	for i, h := range hands {
		weight := h.weight * math.Exp(logs[i]-top)
		before += h.weight * h.value * h.value
		square += weight * h.value * h.value
		all += weight
	}

	return square / all / before
}

// inHand adds to the errors of places what the meter in the hand adds to them beside the
// anchors' weights. Each walk holds it anew.
func (w *walked) inHand(m *Map, anchors []float64) {
	hand := w.hand()
	readings := make([]float64, len(m.RelativeError))
	for i, c := range w.cell {
		readings[c] += w.n[i]
	}
	held := func(place int) float64 {
		if readings[place] == 0 {
			return 0 // it shows nothing of it
		}
		return hand * heldError * heldError / readings[place]
	}
	bowl := w.grid.bowl()
	middle, all := 0.0, 0.0
	if anchors != nil {
		middle = floats.Dot(anchors, bowl)
		for i, a := range anchors {
			all += a * a * held(i)
		}
	}
	slant := slantError * math.Sqrt(hand/float64(1+w.visit[len(w.visit)-1]))
	for i, sd := range m.RelativeError {
		a := 0.0
		if anchors != nil {
			a = anchors[i]
		}
		aslant := slant * (bowl[i] - middle)
		m.RelativeError[i] = math.Sqrt(sd*sd + all + (1-2*a)*held(i) + aslant*aslant) // (1 − a)² − a² of its own
	}
}
