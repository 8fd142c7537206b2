//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// skipPlace: one place was not read, and every later value of that session
// stands one line too early; the last place is written twice.
func skipPlace(w *Walk, g *rand.Rand) {
	n := len(w.Readings)
	if n < 3 {
		return
	}
	from := g.IntN(n - 2)
	s := w.Hidden[from].Session
	for i := from; i+1 < n && w.Hidden[i+1].Session == s; i++ {
		w.Readings[i].Value = w.Readings[i+1].Value
	}
}

// wrongCorner: the grower began at the opposite corner of the plan, so each
// value belongs to the place turned half round.
func wrongCorner(w *Walk, g *rand.Rand) {
	rows, cols := w.world.Size()
	for i := range w.Hidden {
		h := &w.Hidden[i]
		h.Row, h.Col = rows-1-w.Readings[i].Row, cols-1-w.Readings[i].Col
		w.reread(i)
	}
}

// lampOff: someone switched the lamp off for a run of readings; what is left
// is the room (some tenths) or the daylight.
func lampOff(w *Walk, g *rand.Rand) {
	if _, ok := w.world.LampTimer(); !ok {
		return
	}
	stray := span(g, 0, 1.5)
	for _, i := range part(g, len(w.Readings), 0.15, 0.5) {
		w.rereadWith(i, 0)
		w.Readings[i].Value = w.Meter.show(w.Hidden[i].Light*w.Hidden[i].Factor+stray, w.Meter.LuxPer)
	}
}

// lampWarming: the walk began the moment the lamp was switched on, so its
// first minutes ride on the warm-up curve (tubes from below, LEDs from above).
func lampWarming(w *Walk, g *rand.Rand) {
	if _, ok := w.world.LampTimer(); !ok {
		return
	}
	by, tau := span(g, -0.5, -0.25), span(g, 100, 300)
	if w.world.LampKind() == "led" {
		by, tau = span(g, 0.04, 0.12), span(g, 300, 900)
	}
	start := w.Hidden[0].At
	for i, h := range w.Hidden {
		if h.Session != 0 {
			break
		}
		t := (h.At.Days() - start.Days()) * 86400
		w.rereadWith(i, 1+by*math.Exp(-t/tau))
	}
}

// capOn: the white cap was left on the head for a run, or for all.
func capOn(w *Walk, g *rand.Rand) {
	pass := span(g, 0, 0.02)
	run := part(g, len(w.Readings), 0.1, 0.5)
	if either(g, 0.2) {
		run = part(g, len(w.Readings), 1, 1)
	}
	for _, i := range run {
		w.Readings[i].Value = roundTo(w.Readings[i].Value*pass, w.Meter.Decimals)
	}
}

// ceiling: the range switch stood too low, so bright places all read the top
// of the range. The top is put where it cuts a part of the walk.
func ceiling(w *Walk, g *rand.Rand) {
	lo, hi := math.Inf(1), 0.0
	for _, r := range w.Readings {
		lo, hi = math.Min(lo, r.Value), math.Max(hi, r.Value)
	}
	if hi <= 0 {
		return
	}
	top := lo + (hi-lo)*span(g, 0.3, 0.85)
	// Displays end at 1999, 19990 or their tenths; use one if it fits.
	for _, t := range []float64{19.99, 199.9, 1999, 19990, 54612.5} {
		if t > lo && t < hi {
			top = t
		}
	}
	for i := range w.Readings {
		w.Readings[i].Value = math.Min(w.Readings[i].Value, roundTo(top, 1))
	}
}

// ownShadow: the grower leans between lamp and head for a run; the shadow
// deepens and lifts as he moves by.
func ownShadow(w *Walk, g *rand.Rand) {
	run := part(g, len(w.Readings), 0.12, 0.4)
	deep := span(g, 0.15, 0.6)
	for k, i := range run {
		x := (float64(k) + 0.5) / float64(len(run))
		keep := 1 - deep*(0.5+0.5*math.Sin(math.Pi*x))
		w.Readings[i].Value = roundTo(w.Readings[i].Value*keep, w.Meter.Decimals)
	}
}

// otherHeight: for a run, or throughout, the head was held above or below the
// plants. Under a small lamp that also changes the shape of the map.
func otherHeight(w *Walk, g *rand.Rand) {
	run := part(g, len(w.Readings), 0.2, 0.6)
	if either(g, 0.4) {
		run = part(g, len(w.Readings), 1, 1)
	}
	up := span(g, 4, 12)
	if either(g, 0.3) {
		up = -span(g, 2, 6)
	}
	for _, i := range run {
		w.Hidden[i].Ins.UpCM += up
		w.reread(i)
	}
}

// holdButton: the display was frozen, so one value stands in a run of lines.
func holdButton(w *Walk, g *rand.Rand) {
	run := part(g, len(w.Readings), 0.1, 0.35)
	for _, i := range run[1:] {
		w.Readings[i].Value = w.Readings[run[0]].Value
	}
}
