package light

import (
	"cmp"
	"fmt"
	"strings"
)

// Quantity is what a sensor measures.
type Quantity uint8

// The quantities.
const (
	QuantityPPFD Quantity = iota + 1
	QuantityLux
	QuantityTemperature
	QuantityHumidity
	QuantityWaterDepth
	QuantityWet
)

// quantity is all that sets one quantity apart from the others.
type quantity struct {
	name      string     // in a trial's file
	unit      string     // in which a value is understood after scale and offset; "" for a bare state
	valid     [2]float64 // the range outside which a value is not believed, unless the trial says otherwise
	states    []string   // of a state: what 0, 1, ... are called
	metric    Metric     // zero for none
	light     bool       // can be turned into PPFD
	byLamp    bool       // and that by the lamp's factor
	error     float64    // of light: the standard deviation of the scale that is assumed, as a share
	lampIsOut float64    // of light: below it a lamp counts as out where its sensor has no baseline yet
	hints     []string   // in a topic or a payload's names: tell of it
	maybe     []string   // may tell of it
	units     []string   // as sensors write them behind a number
}

// quantities is the one table of them, by number. Its first row is that of a
// quantity that is not known.
//
// Ranges and errors (5 % for a quantum sensor, 20 % for a cheap lux chip) are this
// project's choice; none has a published source.
var quantities = [...]quantity{
	0: {valid: [2]float64{0, 1}},
	QuantityPPFD: {
		name: "ppfd", unit: "µmol m⁻² s⁻¹", valid: [2]float64{0, 3000},
		light: true, error: 0.05, lampIsOut: 1,
		hints: []string{"ppfd", "quantum", "par"}, maybe: []string{"light", "l"}, units: []string{"µmol", "umol"},
		metric: Metric{"parstead_ppfd_micromoles_per_square_meter_second", "Newest photon flux density (400-700 nm) that a sensor measured; row and column 0 for a sensor that speaks for its bin.", 1},
	},
	QuantityLux: {
		name: "lux", unit: "lx", valid: [2]float64{0, 150000},
		light: true, byLamp: true, error: 0.20, lampIsOut: 50, // about 1 µmol m⁻² s⁻¹
		hints: []string{"lux", "illuminance", "bright", "lumin"}, units: []string{"lx", "lux"},
	},
	QuantityTemperature: {
		name: "temperature", unit: "°C", valid: [2]float64{-20, 60},
		metric: Metric{"parstead_temperature_celsius", "Newest temperature.", 1},
		hints:  []string{"temp", "celsius"}, maybe: []string{"t"}, units: []string{"°C", "C"},
	},
	QuantityHumidity: {
		name: "humidity", unit: "% RH", valid: [2]float64{0, 100},
		metric: Metric{"parstead_humidity_ratio", "Newest relative humidity, 0 to 1.", 100},
		hints:  []string{"humid", "hum", "rh"}, maybe: []string{"h"}, units: []string{"%"},
	},
	QuantityWaterDepth: {name: "water_depth_cm", unit: "cm", valid: [2]float64{0, 500}, hints: []string{"depth"}, units: []string{"cm"}},
	QuantityWet:        {name: "wet", valid: [2]float64{0, 1}, states: []string{"dry", "wet"}, hints: []string{"wet", "float", "flood", "leak"}},
}

// Metric is how monitoring sees a quantity's newest values.
type Metric struct {
	Name, Help string
	Units      float64 // of the quantity that make one of the metric
}

func (q Quantity) row() *quantity {
	if int(q) < len(quantities) {
		return &quantities[q]
	}
	return &quantities[0]
}

// Quantities lists all, in the order of their numbers.
func Quantities() []Quantity {
	var all []Quantity
	for q := range quantities[1:] {
		all = append(all, Quantity(q+1))
	}
	return all
}

// QuantityNames lists the names that a trial's file may give.
func QuantityNames() []string {
	var names []string
	for _, q := range Quantities() {
		names = append(names, q.String())
	}
	return names
}

// ParseQuantity reads a quantity by the name it has in a trial's file.
func ParseQuantity(s string) (Quantity, error) {
	for _, q := range Quantities() {
		if q.String() == s {
			return q, nil
		}
	}
	return 0, fmt.Errorf("%q is not a quantity: use %s", s, AnyQuantity())
}

// AnyQuantity lists the names as a sentence does.
func AnyQuantity() string {
	names := QuantityNames()
	last := len(names) - 1
	return strings.Join(names[:last], ", ") + " or " + names[last]
}

// String is the quantity's name in a trial's file.
func (q Quantity) String() string {
	return cmp.Or(q.row().name, fmt.Sprintf("quantity %d", uint8(q)))
}

// IsLight tells whether the quantity can be turned into PPFD.
func (q Quantity) IsLight() bool { return q.row().light }

// NeedsLampFactor tells whether it takes the lamp's factor to do so.
func (q Quantity) NeedsLampFactor() bool { return q.row().byLamp }

// PPFD is what a value of light comes to under a lamp of the given factor; 0
// where that can't be told.
func (q Quantity) PPFD(value float64, factor LuxPerPPFD) PPFD {
	switch row := q.row(); {
	case row.byLamp && factor > 0:
		return Lux(value).PPFD(factor)
	case row.light && !row.byLamp:
		return PPFD(value)
	}
	return 0
}

// LampIsOut is the value of light below which a lamp counts as out where no
// baseline of its sensor is known.
func (q Quantity) LampIsOut() float64 { return q.row().lampIsOut }

// IsState tells whether a value is one of a few states, which sensors also write
// as true and false.
func (q Quantity) IsState() bool { return q.row().states != nil }

// Unit is the unit's symbol, "" for a bare state.
func (q Quantity) Unit() string { return q.row().unit }

// Words writes a value for people, with its unit.
func (q Quantity) Words(value float64) string {
	row := q.row()
	if !q.IsState() {
		return fmt.Sprintf("%.1f %s", value, row.unit)
	}
	for i, state := range row.states {
		if value == float64(i) {
			return state
		}
	}
	return fmt.Sprint(value)
}

// Valid is the range outside which a value of this quantity is not believed,
// unless the trial says otherwise.
func (q Quantity) Valid() (low, high float64) { return q.row().valid[0], q.row().valid[1] }

// RelativeError is the standard deviation of a light sensor's scale that is
// assumed unless the trial gives one; 0 for what is not light.
func (q Quantity) RelativeError() float64 { return q.row().error }

// Metric is how monitoring sees the quantity; ok is false where it does not.
func (q Quantity) Metric() (m Metric, ok bool) { return q.row().metric, q.row().metric.Name != "" }
