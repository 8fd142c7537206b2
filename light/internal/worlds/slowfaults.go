//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Slow is a fault that a sensor (or the lamp) has over a season. The reading
// becomes min(reading·Mul + Add, Ceiling); day counts from the season's start
// and has fractions.
type Slow struct {
	Name    string
	OnLamp  bool // the light itself changes: the map of ratios does not
	Mul     func(day float64) float64
	Add     func(day float64) float64
	Ceiling float64 // µmol m⁻² s⁻¹; 0 none
	Every   int     // seconds between readings, if the fault is in the sampling
	Phase   int
	Note    string
}

// Apply gives the faulty reading.
func (f Slow) Apply(day, v float64) float64 {
	if f.Mul != nil {
		v *= f.Mul(day)
	}
	if f.Add != nil {
		v += f.Add(day)
	}
	if f.Ceiling > 0 {
		v = math.Min(v, f.Ceiling)
	}
	return v
}

// Falling loses a share each week, compounding: 0.01 is the common yellowing
// of a diffuser (common practice, no source).
func Falling(perWeek float64) Slow {
	return Slow{Name: "falling", Mul: func(d float64) float64 { return math.Pow(1-perWeek, math.Max(0, d)/7) }}
}

// Leaf takes a share from a day on, all at once: 0.12.
func Leaf(from, share float64) Slow {
	return Slow{Name: "leaf", Mul: stepAt(from, 1-share)}
}

// Slipped is a sensor knocked on its mount; the step may go either way: ±0.08.
func Slipped(from, step float64) Slow {
	return Slow{Name: "slipped", Mul: stepAt(from, 1+step)}
}

func stepAt(from, after float64) func(float64) float64 {
	return func(d float64) float64 {
		if d < from {
			return 1
		}
		return after
	}
}

// Dust settles day by day and is wiped off now and then.
func Dust(perDay float64, wiped ...float64) Slow {
	return Slow{Name: "dust then wiped", Mul: func(d float64) float64 {
		since := 0.0
		for _, w := range wiped {
			if w <= d {
				since = math.Max(since, w)
			}
		}
		return math.Exp(-perDay * math.Max(0, d-since))
	}}
}

// DarkOffset is a constant that shows in the dark: −0.4.
func DarkOffset(by float64) Slow {
	return Slow{Name: "dark offset", Add: func(float64) float64 { return by }}
}

// Algae grow as living things do: slowly, then fast, then no more (logistic).
func Algae(half, days, most float64) Slow {
	return Slow{Name: "algae", Mul: func(d float64) float64 {
		return 1 - most/(1+math.Exp(-(d-half)/days))
	}}
}

// Hourly reads once an hour. With a timer whose edges fall between two
// readings, a day's sum is wrong by up to an hour's light, the same way every
// day while the timer keeps time and drifting when it does not.
func Hourly(phaseSec int) Slow {
	return Slow{Name: "read once an hour", Every: 3600, Phase: phaseSec}
}

// ChipCeiling is the top of a common 16-bit lux chip: 65535 / 1.2 = 54612.5
// lux. Where that lies in µmol depends on the light.
func ChipCeiling(luxPer float64) Slow {
	return Slow{Name: "lux chip's ceiling", Ceiling: 54612.5 / luxPer}
}

// Warmth is the lamp's own answer to the room: a daily and a yearly swing.
// perC is about −0.001 to −0.003 for white LEDs, −0.005 to −0.008 for red ones.
func Warmth(perC, dayAmp, yearAmp float64) Slow {
	return Slow{Name: "LED and temperature", OnLamp: true, Mul: func(d float64) float64 {
		hour := (d - math.Floor(d)) * 24
		t := dayAmp*math.Sin(2*math.Pi*(hour-9)/24) + yearAmp*math.Sin(2*math.Pi*d/365)
		return 1 + perC*t
	}}
}

// SlowFaults draws one of each kind for a season of so many days.
func SlowFaults(g *rand.Rand, days int, luxPer float64) []Slow {
	n := float64(days)
	return []Slow{
		Falling(span(g, 0.005, 0.02)),
		Leaf(span(g, 0.2, 0.8)*n, span(g, 0.08, 0.25)),
		Dust(span(g, 0.002, 0.008), span(g, 0.3, 0.6)*n, span(g, 0.7, 0.95)*n),
		DarkOffset(span(g, -0.8, 0.8)),
		Algae(span(g, 0.3, 0.8)*n, span(g, 3, 12), span(g, 0.1, 0.4)),
		Slipped(span(g, 0.2, 0.8)*n, sign(g)*span(g, 0.05, 0.12)),
		Hourly(g.IntN(3600)),
		ChipCeiling(luxPer),
		Warmth(span(g, -0.008, -0.001), span(g, 1, 8), span(g, 0, 8)),
	}
}
