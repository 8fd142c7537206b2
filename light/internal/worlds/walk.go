//go:build worlds

package worlds

import (
	"math/rand/v2"
	"slices"
)

// Coverage says which places are walked.
type Coverage string

// The walks growers make, from thorough to nearly none.
const (
	WalkAll     Coverage = "all"
	WalkTwice   Coverage = "all twice"
	WalkChecker Coverage = "checkerboard"
	WalkHalf    Coverage = "one half"
	WalkSix     Coverage = "six"
	WalkTwo     Coverage = "two"
	WalkOne     Coverage = "one"
)

// Coverages lists them.
var Coverages = []Coverage{WalkAll, WalkTwice, WalkChecker, WalkHalf, WalkSix, WalkTwo, WalkOne}

// Reading is one line of the grower's notes: all that the estimator gets.
type Reading struct {
	Row, Col int
	At       When
	Value    float64
	Unit     string // "ppfd" or "lux", as written
}

// Hidden is what really happened at a reading, for the judge alone.
type Hidden struct {
	Row, Col int     // where the head really was
	At       When    // when
	Light    float64 // what an ideal head would have shown there and then
	Ins      Instrument
	Factor   float64 // gain, stretch and jitter together
	Session  int
}

// Walk is the notes and what is behind them. Limit is the last moment that is
// past for the grower: a later date is in the future.
type Walk struct {
	Readings []Reading
	Hidden   []Hidden
	Plan     Plan
	Meter    Meter
	Limit    When

	world World
}

// Plan is how the grower goes about it.
type Plan struct {
	Coverage Coverage
	Starts   []When // one moment, or three to five at different hours and days
	SecPer   int    // seconds per place: a walk takes time, and the sun moves
	Split    bool   // the places are shared out over the starts, not repeated
}

// NewPlan draws starts inside the light hours. In daylight it looks for clear
// and for dull days in turn.
func NewPlan(g *rand.Rand, w World, c Coverage, sessions, firstDay, lastDay int) Plan {
	p := Plan{Coverage: c, SecPer: between(g, 6, 25), Split: sessions > 1 && either(g, 0.3)}
	d, sunny := w.(*Daylight)
	for i := range sessions {
		day := between(g, firstDay, lastDay)
		for try := 0; sunny && sessions > 1 && try < 40; try++ {
			if (d.Weather.Kind(day) == Overcast) == (i%2 == 1) {
				break
			}
			day = between(g, firstDay, lastDay)
		}
		p.Starts = append(p.Starts, pickTime(g, w, day))
	}
	slices.SortFunc(p.Starts, func(a, b When) int { return a.Day*86400 + a.Sec - b.Day*86400 - b.Sec })
	return p
}

// Places gives the places of a coverage in the order they are walked: to and
// fro along the rows, as people do.
func Places(c Coverage, rows, cols int, sensor [2]int, g *rand.Rand) [][2]int {
	var all [][2]int
	for r := range rows {
		for i := range cols {
			col := i
			if r%2 == 1 {
				col = cols - 1 - i
			}
			all = append(all, [2]int{r, col})
		}
	}
	keep := func(ok func(p [2]int) bool) [][2]int {
		var out [][2]int
		for _, p := range all {
			if ok(p) {
				out = append(out, p)
			}
		}
		return out
	}
	switch c {
	case WalkTwice:
		return append(all, all...)
	case WalkChecker:
		odd := g.IntN(2)
		return keep(func(p [2]int) bool { return (p[0]+p[1])%2 == odd })
	case WalkHalf:
		far := either(g, 0.5)
		if rows >= 2 && either(g, 0.5) {
			return keep(func(p [2]int) bool { return (2*p[0]+1 > rows) == far })
		}
		return keep(func(p [2]int) bool { return (2*p[1]+1 > cols) == far })
	case WalkSix:
		return some(g, all, 6)
	case WalkTwo:
		return some(g, all, 2)
	case WalkOne:
		if either(g, 0.3) {
			return [][2]int{sensor}
		}
		return some(g, all, 1)
	}
	return all
}

// some picks n places, and walks them in the order of the bin.
func some(g *rand.Rand, all [][2]int, n int) [][2]int {
	pick := g.Perm(len(all))[:min(n, len(all))]
	slices.Sort(pick)
	var out [][2]int
	for _, i := range pick {
		out = append(out, all[i])
	}
	return out
}

// Take goes round with the meter.
func Take(w World, m Meter, p Plan, seed uint64) Walk {
	g := Sub(seed, "walk")
	rows, cols := w.Size()
	places := Places(p.Coverage, rows, cols, w.SensorAt(), g)
	out := Walk{Plan: p, Meter: m, world: w}
	out.Meter.LuxPer = w.LuxPer()
	for i, at := range p.Starts {
		round := places
		if p.Split {
			lo, hi := i*len(places)/len(p.Starts), (i+1)*len(places)/len(p.Starts)
			round = places[lo:hi]
		}
		var s stretch
		for _, pl := range round {
			if s.left == 0 {
				s = m.newStretch(g)
			}
			s.left--
			h := Hidden{
				Row: pl[0], Col: pl[1], At: at, Ins: s.ins, Session: i,
				Factor: m.Gain * s.level * m.jitter(g),
			}
			out.Hidden = append(out.Hidden, h)
			out.Readings = append(out.Readings, Reading{Row: pl[0], Col: pl[1], At: at, Unit: m.Unit})
			out.reread(len(out.Readings) - 1)
			at = at.Plus(p.SecPer + g.IntN(p.SecPer/2+1))
		}
		out.Limit = at.Plus(3600)
	}
	return out
}

// reread writes a reading anew from what is hidden, so that a slip that moves
// the head or the hour keeps the same luck with the noise.
func (w *Walk) reread(i int) { w.rereadWith(i, 1) }

// rereadWith is reread with the lamp at another level.
func (w *Walk) rereadWith(i int, lamp float64) {
	h := &w.Hidden[i]
	ideal := Instrument{}
	h.Light = lamp*w.world.LampLight(h.Row, h.Col, h.At, ideal) + w.world.SunLight(h.Row, h.Col, h.At, ideal)
	seen := lamp*w.world.LampLight(h.Row, h.Col, h.At, h.Ins) + w.world.SunLight(h.Row, h.Col, h.At, h.Ins)
	w.Readings[i].Value = w.Meter.show(seen*h.Factor, w.Meter.LuxPer)
}

// clone keeps the clean walk clean.
func (w Walk) clone() Walk {
	w.Readings = slices.Clone(w.Readings)
	w.Hidden = slices.Clone(w.Hidden)
	return w
}
