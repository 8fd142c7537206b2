package light

import (
	"math"
	"slices"
	"time"
)

// Sensor is a sensor at one place over one stretch of time. Several of one
// name follow one another (a moved or a replaced sensor) and never overlap:
// together they give meaning to the readings stored under the name.
type Sensor struct {
	Name          string
	Measures      Quantity
	Position      Position // WholeBin: it speaks for the bin as a whole
	Every, MaxGap time.Duration
	Scale, Offset float64 // value = raw × Scale + Offset
	Low, High     float64 // values outside are stored but not used
	RelativeError float64 // standard deviation of the scale, as a share
	DepthCM       float64 // of the sensor under water; 0 in air
	Immersion     float64 // factor that makes up for the loss of response under water; 0 where not given
	During        Span
}

// Value turns a raw reading into the quantity's unit.
func (s Sensor) Value(raw float64) float64 { return raw*s.Scale + s.Offset }

// Believed is the value that a reading stands for, and whether it is one: outside
// the sensor's range it is none. A light sensor whose zero is a little off shows
// small negative values in the dark: those are 0.
func (s Sensor) Believed(value float64) (float64, bool) {
	if value < s.Low && value >= s.Low-s.DarkOffset() {
		return s.Low, true
	}
	return value, value >= s.Low && value <= s.High
}

// DarkOffset is how far below 0 a light sensor may read in the dark: by as little as
// says nothing about a lamp.
func (s Sensor) DarkOffset() float64 {
	if s.Low != 0 {
		return 0
	}
	return s.Measures.LampIsOut()
}

// ceilings are the lux that common 16-bit chips send where the light is brighter than
// they can see (common practice, no source): 65535 counts of 2.4 or 1.2 a lux,
// another make's, and 65535 of 1.8432 lux each. Ascending.
var ceilings = []float64{65535 / 2.4, 65535 / 1.2, 83865.6, 65535 * 1.8432}

// CeilingHeld is how many readings in a row at a chip's ceiling are no measurement:
// one may be true.
const CeilingHeld = 3

// AtCeiling tells whether a raw value is a lux chip's ceiling, as it is or in whole lux.
func (q Quantity) AtCeiling(raw float64) bool {
	if raw < ceilings[0]-1 || !q.NeedsLampFactor() {
		return false
	}
	return slices.ContainsFunc(ceilings, func(c float64) bool { return math.Abs(raw-c) <= 0.5 })
}

// Saturated tells whether a raw value is one of the marks that sensors send in
// place of a measurement: −1, and 65535, the ceiling of a 16-bit converter
// (common practice, no source).
func Saturated(raw float64) bool { return raw == -1 || raw == 65535 }
