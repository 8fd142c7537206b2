//go:build worlds

package worlds

// Probe is the one sensor that stays in the bin.
type Probe struct {
	Gain   float64
	Noise  float64 // relative sigma of each reading
	Every  int     // seconds between readings
	Phase  int     // seconds after midnight of the first
	Ins    Instrument
	Faults []Slow
}

// Sample is one reading of the probe.
type Sample struct {
	At    When
	Value float64
}

// NewProbe draws a sensor; its mount is seldom quite level.
func NewProbe(seed uint64) Probe {
	g := Sub(seed, "probe")
	every := []int{60, 300, 600, 900}[g.IntN(4)]
	p := Probe{Gain: span(g, 0.85, 1.15), Noise: span(g, 0.002, 0.02), Every: every, Phase: g.IntN(every)}
	if either(g, 0.5) {
		p.Ins = Instrument{
			TiltDeg: span(g, 0, 6), TiltAzDeg: span(g, 0, 360), Power: span(g, 1, 1.3),
			UpCM: span(g, -1, 3),
		}
	}
	if either(g, 0.3) {
		p.Ins.Sun = span(g, 0.8, 1.25)
	}
	return p
}

// Series is the probe's readings over days from..to-1. Faults of the lamp
// (OnLamp) are left out here: put them into Bin.Extra, so that the walk feels
// them too. In the readings both look the same, and that is what is hard.
func (p Probe) Series(w World, from, to int, seed uint64) []Sample {
	g := Sub(seed, "probe noise")
	every, phase := p.Every, p.Phase
	for _, f := range p.Faults {
		if f.Every > 0 {
			every, phase = f.Every, f.Phase
		}
	}
	place := w.SensorAt()
	var out []Sample
	for day := from; day < to; day++ {
		for s := phase; s < 86400; s += every {
			at := When{day, s}
			v := w.LampLight(place[0], place[1], at, p.Ins) + w.SunLight(place[0], place[1], at, p.Ins)
			v *= p.Gain * (1 + p.Noise*g.NormFloat64())
			for _, f := range p.Faults {
				if !f.OnLamp {
					v = f.Apply(at.Days(), v)
				}
			}
			out = append(out, Sample{at, v})
		}
	}
	return out
}

// SumDLI adds up a series of one day the way a logger does: each reading
// stands for one interval.
func SumDLI(day []Sample, every int) float64 {
	sum := 0.0
	for _, s := range day {
		sum += s.Value * float64(every)
	}
	return sum / 1e6
}
