package light

import (
	"fmt"
	"slices"
	"time"
)

// Line is a line of one of the trial's sheets.
type Line struct {
	File string
	Line int // from 1
}

// String writes the line as file:line.
func (l Line) String() string { return fmt.Sprintf("%s:%d", l.File, l.Line) }

// SurveyReading is one value that a handheld meter showed at one position.
type SurveyReading struct {
	At       time.Time
	Position Position
	Measures Quantity // QuantityPPFD or QuantityLux
	Value    float64
	Meter    string // "" where not said: one meter
	Row      Line
}

// Flood is the watering of one reservoir's bins: times of day, each for Lasts.
type Flood struct {
	Reservoir string
	Times     []TimeOfDay
	Lasts     time.Duration
}

// Limits are what the air at the plants should keep to. A nil range sets none.
type Limits struct {
	Celsius  *[2]float64
	Humidity *[2]float64
}

// Rack is all that the light account needs to know of a trial.
type Rack struct {
	Calendar
	Starts, Ends Date // first and last light day that count
	Bins         []Bin
	Lamps        []Lamp
	Sensors      []Sensor // an entry a stretch
	Floods       []Flood
	Survey       []SurveyReading // in order of time
	Limits       Limits
	OffTarget    float64 // share of a bin's target by which a day is off it; 0: not judged
	BaseCelsius  float64 // degree-days count from here
	HasBase      bool    // whether a base is given
}

// Bin finds a bin by name.
func (r *Rack) Bin(name string) (Bin, bool) {
	for _, b := range r.Bins {
		if b.Name == name {
			return b, true
		}
	}
	return Bin{}, false
}

// NeedsFactor tells whether a survey in lux of a bin needs a factor of its lamps: no
// PPFD sensor stands there then, or its lamps are said to be of unlike light.
func (r *Rack) NeedsFactor(bin Bin, at time.Time) bool {
	var of LuxPerPPFD
	for _, l := range r.Lamps {
		if !l.During.Holds(at) || !slices.Contains(bin.Lamps, l.Name) || l.LuxPerPPFD == 0 {
			continue
		}
		if of != 0 && of != l.LuxPerPPFD {
			return true
		}
		of = l.LuxPerPPFD
	}
	return !slices.ContainsFunc(r.Sensors, func(s Sensor) bool {
		return s.Position.Bin == bin.Name && s.Measures.IsLight() && !s.Measures.NeedsLampFactor() && s.During.Holds(at)
	})
}

// Lit lists the stretches of the span in which a timer has any of the bin's lamps
// on, in order and merged. The span must be closed.
func (r *Rack) Lit(bin Bin, during Span) []Span {
	var lit []Span
	for _, l := range r.Lamps {
		if slices.Contains(bin.Lamps, l.Name) {
			lit = append(lit, l.Lit(during, r.Zone)...)
		}
	}
	return Merge(lit)
}

// Trial is the span from the start of the first light day to the end of the last.
func (r *Rack) Trial() Span {
	return Span{r.Day(r.Starts).From, r.Day(r.Ends).Until}
}

// Stay is a plant's stretch at one position.
type Stay struct {
	Position Position
	During   Span
}
