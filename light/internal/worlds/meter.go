//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Meter is the grower's handheld: one gain for all its readings, and errors
// that come anew with each reading or stay for a stretch of them.
type Meter struct {
	Gain      float64    // true 1; an honest cheap one 0.8 to 1.2
	Noise     float64    // log-normal sigma of each reading, 0.03 to 0.10
	TailShare float64    // share of readings with four times that sigma
	TiltSD    float64    // degrees off level, held for a stretch
	LevelSD   float64    // relative error held for a stretch (hand, sleeve, dirt)
	UpSD      float64    // cm off the plane, held for a stretch
	Stretch   float64    // mean readings in a stretch
	Power     float64    // cosine response, 1 is ideal
	Tint      [2]float64 // answer to each of two lamp spectra
	Sun       float64    // answer to daylight beside that to lamps; 0 means 1
	Ceiling   float64    // of the display, in its own unit; 0 none
	Decimals  int        // on the display
	Unit      string     // "ppfd" or "lux"
	LuxPer    float64    // factor the grower has NOT divided by, if in lux
}

// NewMeter draws a meter.
func NewMeter(g *rand.Rand) Meter {
	m := Meter{
		Gain: math.Exp(0.1 * g.NormFloat64()), Noise: span(g, 0.03, 0.10), Stretch: span(g, 3, 10),
		Power: 1, Tint: [2]float64{1, 1}, Unit: "ppfd", Decimals: g.IntN(2),
	}
	if either(g, 0.4) {
		m.TailShare = span(g, 0.02, 0.10)
	}
	if either(g, 0.5) {
		m.TiltSD, m.UpSD = span(g, 1, 7), span(g, 0.2, 2)
	}
	if either(g, 0.4) {
		m.LevelSD = span(g, 0.01, 0.06)
	}
	if either(g, 0.4) {
		m.Power = span(g, 1.05, 1.5)
	}
	if either(g, 0.3) {
		m.Tint[1] = span(g, 0.7, 1.3)
	}
	if either(g, 0.3) {
		m.Sun = span(g, 0.75, 1.25)
	}
	if either(g, 0.25) {
		m.Unit, m.Decimals = "lux", 0
	}
	return m
}

// PlainMeter is a clean one, for tests and for worlds with one fault at a time.
func PlainMeter(noise float64) Meter {
	return Meter{Gain: 1, Noise: noise, Stretch: 1, Power: 1, Tint: [2]float64{1, 1}, Unit: "ppfd", Decimals: 1}
}

// stretch is what stays while the grower holds the meter the same way.
type stretch struct {
	ins   Instrument
	level float64
	left  int
}

func (m Meter) newStretch(g *rand.Rand) stretch {
	n := 1
	if m.Stretch > 1 {
		n += int(g.ExpFloat64() * (m.Stretch - 1))
	}
	return stretch{
		ins: Instrument{
			UpCM: m.UpSD * g.NormFloat64(), TiltDeg: math.Abs(m.TiltSD * g.NormFloat64()),
			TiltAzDeg: span(g, 0, 360), Power: m.Power, Tint: m.Tint, Sun: m.Sun,
		},
		level: math.Exp(m.LevelSD * g.NormFloat64()), left: n,
	}
}

// jitter is one reading's own error.
func (m Meter) jitter(g *rand.Rand) float64 {
	s := m.Noise
	if either(g, m.TailShare) {
		s *= 4
	}
	return math.Exp(s * g.NormFloat64())
}

// show is what the display says for a light: unit, ceiling, rounding.
func (m Meter) show(light, luxPer float64) float64 {
	v := light
	if m.Unit == "lux" {
		v *= luxPer
	}
	if m.Ceiling > 0 {
		v = math.Min(v, m.Ceiling)
	}
	return roundTo(v, m.Decimals)
}

func roundTo(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}
