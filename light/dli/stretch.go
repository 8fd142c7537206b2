package dli

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// Stretch gives meaning to a sensor's raw readings from one instant to another.
type Stretch struct {
	From, Until   int64   // Unix time in ns; the first included, the last not
	MaxGap        int64   // ns; silences longer than this are not bridged
	Scale, Offset float64 // value = raw × Scale + Offset
	Low, High     float64 // values outside are not used
	Dark          float64 // those below Low by no more than this are taken as Low
	PerUnit       float64 // PPFD in µmol m⁻² s⁻¹ that one unit of the value stands for
	Saturates     bool    // whether raw −1 and 65535 are no values: see light.Saturated
}

// value is what a raw reading stands for, in the sensor's unit.
func (s *Stretch) value(raw float64) float64 {
	value := s.scaled(raw)
	if value < s.Low && value >= s.Low-s.Dark {
		return s.Low
	}
	return value
}

func (s *Stretch) scaled(raw float64) float64 { return raw*s.Scale + s.Offset }

func (s *Stretch) valid(value float64) bool { return value >= s.Low && value <= s.High }

// scale makes PPFD of raw readings.
func (s *Stretch) scale(values []float64) {
	if s.Scale == 1 && s.Offset == 0 && s.PerUnit == 1 {
		return
	}
	for i, raw := range values {
		values[i] = s.value(raw) * s.PerUnit
	}
}

// Factor is what a lamp's light has in lux per PPFD over a stretch of time.
type Factor struct {
	During     light.Span
	LuxPerPPFD light.LuxPerPPFD
}

// Stretches gives the meaning of a light sensor's readings: one stretch for a
// quantum sensor, one per factor for a lux sensor, whose readings mean nothing
// outside of them. The immersion factor of a sensor under water is applied
// here, once.
//
// Errors: a sensor that measures no light, a lux sensor without any factor, and
// a lux sensor under water without an immersion factor.
func Stretches(s light.Sensor, factors []Factor) ([]Stretch, error) {
	immersion := 1.0
	switch {
	case !s.Measures.IsLight():
		return nil, fmt.Errorf("sensor %s measures %s, not light", s.Name, s.Measures)
	case s.DepthCM > 0 && s.Immersion > 0:
		immersion = s.Immersion
	case s.DepthCM > 0 && s.Measures.NeedsLampFactor():
		return nil, fmt.Errorf("sensor %s is a lux sensor under water: give its immersion_factor, measured against a quantum sensor at the same depth", s.Name)
	case s.Immersion > 0:
		return nil, fmt.Errorf("sensor %s has an immersion_factor but stands in air: give its depth_cm, or leave the factor out", s.Name)
	}
	if !s.Measures.NeedsLampFactor() {
		factors = []Factor{{LuxPerPPFD: 1}}
	}
	var stretches []Stretch
	for _, f := range factors {
		during, ok := s.During.Within(f.During)
		if !ok {
			continue
		}
		if f.LuxPerPPFD <= 0 {
			return nil, fmt.Errorf("sensor %s measures lux under a lamp without a factor: give the lamp lux_per_ppfd, a spectrum or an illuminant", s.Name)
		}
		stretches = append(stretches, Stretch{
			From: Nanoseconds(during.From, math.MinInt64), Until: Nanoseconds(during.Until, math.MaxInt64),
			MaxGap: int64(s.MaxGap), Scale: s.Scale, Offset: s.Offset, Low: s.Low, High: s.High, Dark: s.DarkOffset(),
			PerUnit: immersion / float64(f.LuxPerPPFD), Saturates: true,
		})
	}
	if len(stretches) == 0 {
		return nil, fmt.Errorf("sensor %s measures lux where no lamp hangs: name the lamp of bin %s", s.Name, s.Position.Bin)
	}
	slices.SortFunc(stretches, func(a, b Stretch) int { return cmp.Compare(a.From, b.From) })
	return stretches, nil
}

// Nanoseconds is Unix time in ns, or the given value for no time.
func Nanoseconds(t time.Time, ifZero int64) int64 {
	if t.IsZero() {
		return ifZero
	}
	return t.UnixNano()
}

// Without leaves the span out of the stretches: readings in it are not used.
func Without(stretches []Stretch, aside light.Span) []Stretch {
	from, until := Nanoseconds(aside.From, math.MinInt64), Nanoseconds(aside.Until, math.MaxInt64)
	kept := make([]Stretch, 0, len(stretches)+1)
	for _, s := range stretches {
		before, after := s, s
		before.Until, after.From = min(s.Until, from), max(s.From, until)
		for _, part := range []Stretch{before, after} {
			if part.From < part.Until {
				kept = append(kept, part)
			}
		}
	}
	return kept
}
