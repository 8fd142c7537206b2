package demo

import (
	"math"
	"sort"
	"time"

	"parstead/light"
)

const (
	supplySD     = 0.012 // of the mains supply about its mean, on the lamps' light
	supplyMemory = 0.9   // from one hour to the next
)

// buildSupply lets the mains wander: an autoregressive walk on whole hours.
func (w *World) buildSupply() {
	rng := w.stream(streamSupply)
	hours := int(w.Rack.Trial().Length()/time.Hour) + 25
	w.supply = make([]float64, hours)
	drift := supplySD * rng.NormFloat64()
	for i := range w.supply {
		w.supply[i] = 1 + drift
		drift = supplyMemory*drift + supplySD*math.Sqrt(1-supplyMemory*supplyMemory)*rng.NormFloat64()
	}
}

func (w *World) supplyAt(t time.Time) float64 {
	hours := t.Sub(w.start).Hours()
	if hours < 0 {
		return w.supply[0]
	}
	i := int(hours)
	if i+1 >= len(w.supply) {
		return w.supply[len(w.supply)-1]
	}
	part := hours - float64(i)
	return w.supply[i]*(1-part) + w.supply[i+1]*part
}

// output is a burning lamp's light relative to its first hour: mains and dust.
func (w *World) output(t time.Time, epoch int) float64 {
	relative := w.supplyAt(t)
	if wiped := w.season.wiped; !wiped.IsZero() && epoch < epochs-1 {
		relative *= 1 - dustLoss*float64(t.Sub(w.start))/float64(wiped.Sub(w.start))
	}
	return relative
}

// integrate sums each lamp's output over every light day, by Simpson's rule on
// pieces within which the output is a polynomial of second degree: exact.
func (w *World) integrate() {
	for i := range w.places {
		b := &w.places[i]
		b.seconds = make([][epochs]float64, w.Days)
		for _, lit := range b.lit {
			for from := lit.From; from.Before(lit.Until); {
				until := earliest(from.Truncate(time.Hour).Add(time.Hour), lit.Until)
				for _, start := range w.season.epochStarts {
					if start.After(from) {
						until = earliest(until, start)
					}
				}
				length := until.Sub(from)
				middle := from.Add(length / 2)
				e := w.season.epoch(middle)
				sum := w.output(from, e) + 4*w.output(middle, e) + w.output(until, e)
				if day := w.dayNumber(middle); day <= w.Days {
					b.seconds[day-1][e] += sum / 6 * length.Seconds()
				}
				from = until
			}
		}
	}
}

func earliest(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func (b *bin) burning(t time.Time) bool {
	i := sort.Search(len(b.lit), func(i int) bool { return b.lit[i].Until.After(t) })
	return i < len(b.lit) && !t.Before(b.lit[i].From)
}

// inAir is the PPFD at a cell above any water.
func (w *World) inAir(b *bin, cell int, t time.Time) float64 {
	if !b.burning(t) {
		return 0
	}
	e := w.season.epoch(t)
	return b.field[e][cell] * w.output(t, e)
}

// PPFD is the light that truly reached a plant at the position at time t: under
// the water where the bin has any.
func (w *World) PPFD(p light.Position, t time.Time) light.PPFD {
	b := w.place(p.Bin)
	return light.PPFD(w.inAir(b, b.Index(p), t) * b.transmitted())
}

// DLI is the daily light integral that a plant at the position truly received
// on the light day; 0 outside the season.
func (w *World) DLI(p light.Position, d light.Date) light.DLI {
	day := w.Rack.Starts.DaysUntil(d)
	if day < 0 || day >= w.Days {
		return 0
	}
	b := w.place(p.Bin)
	return b.dli(b.Index(p), day)
}

func (b *bin) dli(cell, day int) light.DLI {
	var sum float64
	for e := range epochs {
		sum += b.field[e][cell] * b.seconds[day][e]
	}
	return light.DLI(sum * b.transmitted() / light.MicromolesPerMole)
}
