//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Timer switches lamps. A plug-in timer keeps its own time and so drifts; a
// mechanical one has segments of a quarter of an hour.
type Timer struct {
	OnMin, OffMin int     // minutes after midnight; off before on: over midnight
	DriftPerDay   float64 // minutes that the timer loses a day
}

// NewTimer draws 12 to 16 hours. Edges seldom fall on the hour.
func NewTimer(g *rand.Rand) Timer {
	on := between(g, 5*60, 9*60)
	t := Timer{OnMin: on, OffMin: on + between(g, 12*60, 16*60)}
	if either(g, 0.25) { // cheap tariff: the night
		t.OnMin = between(g, 18*60, 20*60)
		t.OffMin = t.OnMin + between(g, 12*60, 16*60)
	}
	if either(g, 0.5) { // segments
		t.OnMin, t.OffMin = t.OnMin/15*15, t.OffMin/15*15
	}
	t.OffMin %= 1440
	if either(g, 0.3) {
		t.DriftPerDay = span(g, -0.3, 0.3)
	}
	return t
}

// Minutes is how long the lamp burns each day.
func (t Timer) Minutes() int { return ((t.OffMin-t.OnMin)%1440 + 1440) % 1440 }

// Since tells whether the lamp is on, and for how many seconds it has been.
func (t Timer) Since(w When) (float64, bool) {
	lag := t.DriftPerDay * w.Days() * 60
	s := math.Mod(float64(w.Sec)-lag-float64(t.OnMin*60), 86400)
	if s < 0 {
		s += 86400
	}
	return s, s < float64(t.Minutes()*60)
}
