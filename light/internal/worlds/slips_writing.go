//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
)

// luxAsPPFD: the meter shows lux, and the grower writes it in the column for
// µmol, for the whole walk.
func luxAsPPFD(w *Walk, g *rand.Rand) {
	writeLux(w, part(g, len(w.Readings), 1, 1))
}

// luxInPart does so for a run only: he pressed the unit key half-way.
func luxInPart(w *Walk, g *rand.Rand) {
	writeLux(w, part(g, len(w.Readings), 0.1, 0.5))
}

func writeLux(w *Walk, run []int) {
	for _, i := range run {
		if w.Meter.Unit == "ppfd" {
			w.Readings[i].Value = math.Round(w.Readings[i].Value * w.Meter.LuxPer)
		}
		w.Readings[i].Unit = "ppfd" // also for a lux meter: the column's name is wrong
	}
}

// futureDate: a wrong month or year in the notes of one session.
func futureDate(w *Walk, g *rand.Rand) {
	shiftDays(w, g, []int{30, 31, 61, 92, 365}[g.IntN(5)])
}

// dayMonth: day and month turned round; that can fall before or after.
func dayMonth(w *Walk, g *rand.Rand) {
	shiftDays(w, g, between(g, 1, 11)*between(g, 27, 31)*int(sign(g)))
}

func shiftDays(w *Walk, g *rand.Rand, by int) {
	s := w.Hidden[g.IntN(len(w.Hidden))].Session
	for i := range w.Readings {
		if w.Hidden[i].Session == s {
			w.Readings[i].At.Day += by
		}
	}
}

// darkMoment looks for a moment when this world has no light at all.
func darkMoment(w World, near When) (When, bool) {
	for _, h := range []int{12, 10, 14, 9, 8, 16, 7, 17, 11, 13, 15, 6, 18, 5, 19} {
		t := near.Plus(h * 3600)
		if Light(w, 0, 0, t) == 0 {
			return t, true
		}
	}
	return near, false
}

// clockOutside: the values are good but the clock was wrong (am for pm), so
// the notes say the reading was made in the dark.
func clockOutside(w *Walk, g *rand.Rand) {
	for i := range w.Readings {
		if t, ok := darkMoment(w.world, w.Hidden[i].At); ok {
			if t.Day > w.Hidden[i].At.Day {
				t.Day = w.Hidden[i].At.Day // the date is right, the hour is not
			}
			w.Readings[i].At = t
		}
	}
}

// readInDark: the walk really was made outside light hours.
func readInDark(w *Walk, g *rand.Rand) {
	for i := range w.Hidden {
		t, ok := darkMoment(w.world, w.Hidden[i].At)
		if !ok {
			continue
		}
		w.Hidden[i].At, w.Readings[i].At = t, t
		if t.Days() > w.Limit.Days() {
			w.Limit = t.Plus(3600) // the night has passed too
		}
		w.reread(i)
		w.Readings[i].Value = roundTo(math.Abs(0.4*g.NormFloat64()), w.Meter.Decimals)
	}
}

// digits gives a value as written on paper.
func digits(w *Walk, i int) string {
	return strconv.FormatFloat(w.Readings[i].Value, 'f', w.Meter.Decimals, 64)
}

// pen picks a line and lets change rewrite its digits; it tries other lines if
// this one would not change.
func pen(w *Walk, g *rand.Rand, change func(s string) string) {
	n := len(w.Readings)
	first := g.IntN(n)
	for k := range n {
		i := (first + k) % n
		s := digits(w, i)
		if t := change(s); t != s {
			if v, err := strconv.ParseFloat(t, 64); err == nil {
				w.Readings[i].Value = v
				return
			}
		}
	}
}

// repeatedDigit: a key bounced, 212 becomes 2212.
func repeatedDigit(w *Walk, g *rand.Rand) {
	pen(w, g, func(s string) string {
		whole, _, _ := strings.Cut(s, ".")
		k := g.IntN(len(whole))
		return s[:k+1] + s[k:]
	})
}

// turnedDigits: 182 becomes 128.
func turnedDigits(w *Walk, g *rand.Rand) {
	pen(w, g, func(s string) string {
		whole, _, _ := strings.Cut(s, ".")
		if len(whole) < 2 {
			return s
		}
		b, k := []byte(s), g.IntN(len(whole)-1)
		b[k], b[k+1] = b[k+1], b[k]
		return string(b)
	})
}

// commaLost: 182.4 becomes 1824, in one line or in a run of them. A display
// without tenths cannot lose its comma.
func commaLost(w *Walk, g *rand.Rand) {
	if w.Meter.Decimals == 0 {
		return
	}
	by := math.Pow(10, float64(w.Meter.Decimals))
	run := []int{g.IntN(len(w.Readings))}
	if either(g, 0.4) {
		run = part(g, len(w.Readings), 0.05, 0.3)
	}
	for _, i := range run {
		w.Readings[i].Value = math.Round(w.Readings[i].Value * by)
	}
}
