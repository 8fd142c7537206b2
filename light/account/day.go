package account

import (
	"encoding/json"
	"math"
	"strconv"

	"parstead/light"
)

// Source says how most of a figure came to be, best first.
type Source uint8

// The sources of a figure.
const (
	Unknown    Source = iota
	FromSensor        // a sensor at that position
	FromMap           // light map × the bin's sensors
	FromBin           // the bin's sensors as they stand: no light map
	FromTimer         // light map, or meter readings, × the lamp's timer hours
)

// String is the source's name in tables and JSON; "" if unknown.
func (s Source) String() string { return [...]string{"", "sensor", "map", "bin", "timer"}[s] }

// Error is one standard deviation of a figure, as a share of it, in its parts.
type Error struct {
	Independent float64 // of this position alone: its own sensor, its place on the light map
	Bin         float64 // shared by the bin: its sensors, filled time, a missing light map
	All         float64 // shared by the rack: the meter's scale, the lamp's factor from lux
}

// Total is the parts' sum in quadrature.
func (e Error) Total() float64 {
	return math.Sqrt(e.Independent*e.Independent + e.Bin*e.Bin + e.All*e.All)
}

// Figure is an amount of light with how it came to be.
type Figure struct {
	Known   bool      // whether anything of it is; else DLI, Error and Source mean nothing
	DLI     light.DLI // mol m⁻² d⁻¹, filled time included
	Covered float64   // share of the day's length that readings bridge
	Filled  float64   // share of DLI that was estimated
	Missing float64   // share of the day's length that is neither
	Error   Error
	Source  Source
}

// Day is the light of one position on one light day.
type Day struct {
	Date     light.Date
	Position light.Position
	Figure
}

// AppendJSON appends the day as an object of `parstead dli --json`. Numbers are
// the shortest that read back as the same float64.
func (d Day) AppendJSON(dst []byte) []byte {
	dst = append(dst, `{"date":"`...)
	dst, _ = d.Date.AppendText(dst) // never fails
	dst = append(dst, `","bin":`...)
	dst = appendText(dst, d.Position.Bin)
	dst = append(dst, `,"row":`...)
	dst = strconv.AppendInt(dst, int64(d.Position.Row), 10)
	dst = append(dst, `,"column":`...)
	dst = strconv.AppendInt(dst, int64(d.Position.Column), 10)
	if d.Known {
		dst = appendNumber(dst, "dli", float64(d.DLI))
	}
	return appendRest(dst, d.Known, d.Covered, d.Filled, d.Missing, d.Error, d.Source)
}

// MarshalJSON gives the object of AppendJSON.
func (d Day) MarshalJSON() ([]byte, error) { return d.AppendJSON(nil), nil }

func appendRest(dst []byte, known bool, covered, filled, missing float64, e Error, s Source) []byte {
	dst = appendNumber(dst, "covered", covered)
	dst = appendNumber(dst, "filled", filled)
	dst = appendNumber(dst, "missing", missing)
	if known {
		dst = appendNumber(dst, "relative_error", e.Total())
		dst = append(dst, `,"source":"`...)
		dst = append(dst, s.String()...)
		dst = append(dst, '"')
	}
	return append(dst, '}')
}

func appendNumber(dst []byte, key string, x float64) []byte {
	dst = append(dst, ',', '"')
	dst = append(dst, key...)
	dst = append(dst, '"', ':')
	if x == 0 || x == 1 { // as shares mostly are
		return append(dst, '0'+byte(x))
	}
	return strconv.AppendFloat(dst, x, 'g', -1, 64)
}

// appendText appends a JSON string.
func appendText(dst []byte, s string) []byte {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			text, err := json.Marshal(s)
			if err != nil {
				panic("account: " + err.Error()) // a string always has a JSON form
			}
			return append(dst, text...)
		}
	}
	dst = append(dst, '"')
	dst = append(dst, s...)
	return append(dst, '"')
}
