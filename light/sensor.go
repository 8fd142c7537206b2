package light

import (
	"fmt"
	"time"
)

// Quantity is what a sensor measures.
type Quantity uint8

// The quantities, with the unit in which a sensor's value is understood after
// scale and offset.
const (
	QuantityPPFD        Quantity = iota + 1 // µmol m⁻² s⁻¹
	QuantityLux                             // lm m⁻²
	QuantityTemperature                     // °C
	QuantityHumidity                        // per cent relative humidity
	QuantityWaterDepth                      // cm
	QuantityWet                             // 0 or 1
)

var quantityNames = [...]string{
	QuantityPPFD: "ppfd", QuantityLux: "lux", QuantityTemperature: "temperature",
	QuantityHumidity: "humidity", QuantityWaterDepth: "water_depth_cm", QuantityWet: "wet",
}

// ParseQuantity reads a quantity by the name it has in a trial's file.
func ParseQuantity(s string) (Quantity, error) {
	for q, name := range quantityNames {
		if name == s && name != "" {
			return Quantity(q), nil
		}
	}
	return 0, fmt.Errorf("%q is not a quantity: use ppfd, lux, temperature, humidity, water_depth_cm or wet", s)
}

// String is the quantity's name in a trial's file.
func (q Quantity) String() string {
	if int(q) < len(quantityNames) && q > 0 {
		return quantityNames[q]
	}
	return fmt.Sprintf("quantity %d", q)
}

// IsLight tells whether the quantity can be turned into PPFD.
func (q Quantity) IsLight() bool { return q == QuantityPPFD || q == QuantityLux }

// Unit is the unit's symbol, "" for a bare state.
func (q Quantity) Unit() string {
	return [...]string{"", "µmol m⁻² s⁻¹", "lx", "°C", "% RH", "cm", ""}[q]
}

// Valid is the range outside which a value of this quantity is not believed,
// unless the trial says otherwise.
func (q Quantity) Valid() (low, high float64) {
	switch q {
	case QuantityPPFD:
		return 0, 3000
	case QuantityLux:
		return 0, 150000
	case QuantityTemperature:
		return -20, 60
	case QuantityHumidity:
		return 0, 100
	case QuantityWaterDepth:
		return 0, 500
	default:
		return 0, 1
	}
}

// RelativeError is the standard deviation of a sensor's scale that is assumed
// unless the trial gives one: 5 % for a quantum sensor, 20 % for a cheap lux
// chip; 0 for what is not light.
func (q Quantity) RelativeError() float64 {
	switch q {
	case QuantityPPFD:
		return 0.05
	case QuantityLux:
		return 0.20
	default:
		return 0
	}
}

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

// Saturated tells whether a raw value is one of the marks that sensors send in
// place of a measurement: −1, and 65535, the ceiling of a 16-bit converter
// (common practice, no source).
func Saturated(raw float64) bool { return raw == -1 || raw == 65535 }
