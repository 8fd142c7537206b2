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
	All         float64 // shared by the rack: the meter's scale
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

// BinDay is the light of a bin's positions together on one light day.
type BinDay struct {
	Date           light.Date
	Bin            string
	Known          bool
	Mean, Min, Max light.DLI
	CV             float64 // standard deviation with n − 1 over mean; NaN for one position or no light
	Covered        float64
	Filled         float64
	Missing        float64
	Error          Error // of Mean
	Source         Source
}

// AppendJSON appends the day as an object of `parstead dli --json`. Numbers are
// the shortest that read back as the same float64.
func (d Day) AppendJSON(dst []byte) []byte {
	dst = append(dst, `{"date":"`...)
	dst = append(dst, d.Date.String()...)
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

// AppendJSON appends the day as an object of `parstead dli --per bin --json`.
func (d BinDay) AppendJSON(dst []byte) []byte {
	dst = append(dst, `{"date":"`...)
	dst = append(dst, d.Date.String()...)
	dst = append(dst, `","bin":`...)
	dst = appendText(dst, d.Bin)
	if d.Known {
		dst = appendNumber(dst, "mean", float64(d.Mean))
		dst = appendNumber(dst, "min", float64(d.Min))
		dst = appendNumber(dst, "max", float64(d.Max))
		if !math.IsNaN(d.CV) {
			dst = appendNumber(dst, "cv", d.CV)
		}
	}
	return appendRest(dst, d.Known, d.Covered, d.Filled, d.Missing, d.Error, d.Source)
}

// MarshalJSON gives the object of AppendJSON.
func (d BinDay) MarshalJSON() ([]byte, error) { return d.AppendJSON(nil), nil }

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
	return strconv.AppendFloat(dst, x, 'g', -1, 64)
}

// PerBin sums up positions' days by bin and light day, over the positions with a
// figure, in the order of the days' bins and then of date. Covered, filled and
// missing shares are means over these positions, or over all where none has one.
func PerBin(days []Day) []BinDay {
	var bins []BinDay
	for len(days) > 0 {
		n, dates := 0, 0 // positions' days of this bin are stored one position after the other
		for n < len(days) && days[n].Position.Bin == days[0].Position.Bin {
			if days[n].Position == days[0].Position {
				dates++
			}
			n++
		}
		for d := range dates {
			bins = append(bins, perBin(days[d:n], dates))
		}
		days = days[n:]
	}
	return bins
}

// perBin sums up every step-th day.
func perBin(days []Day, step int) BinDay {
	sum := BinDay{Date: days[0].Date, Bin: days[0].Position.Bin, CV: math.NaN()}
	var known []Figure
	var all []Figure
	for i := 0; i < len(days); i += step {
		all = append(all, days[i].Figure)
		if days[i].Known {
			known = append(known, days[i].Figure)
		}
	}
	if sum.Known = len(known) > 0; sum.Known {
		all = known
	}
	n := float64(len(all))
	for _, f := range all {
		sum.Covered += f.Covered / n
		sum.Filled += f.Filled / n
		sum.Missing += f.Missing / n
	}
	if !sum.Known {
		return sum
	}
	sum.Min, sum.Max = known[0].DLI, known[0].DLI
	var independent, bin, rack, mean, plainIndependent, plainBin, plainRack float64
	for _, f := range known {
		sum.Min, sum.Max = min(sum.Min, f.DLI), max(sum.Max, f.DLI)
		sum.Source = max(sum.Source, f.Source)
		mean += float64(f.DLI) / n
		independent += square(float64(f.DLI) * f.Error.Independent / n)
		bin += float64(f.DLI) * f.Error.Bin / n
		rack += float64(f.DLI) * f.Error.All / n
		plainIndependent += square(f.Error.Independent / n)
		plainBin += f.Error.Bin / n
		plainRack += f.Error.All / n
	}
	sum.Mean = light.DLI(mean)
	if mean == 0 {
		sum.Error = Error{math.Sqrt(plainIndependent), plainBin, plainRack}
		return sum
	}
	sum.Error = Error{math.Sqrt(independent) / mean, bin / mean, rack / mean}
	if len(known) > 1 {
		squares := 0.0
		for _, f := range known {
			squares += square(float64(f.DLI) - mean)
		}
		sum.CV = math.Sqrt(squares/(n-1)) / mean
	}
	return sum
}

func square(x float64) float64 { return x * x }

// appendText appends a JSON string.
func appendText(dst []byte, s string) []byte {
	text, err := json.Marshal(s)
	if err != nil {
		panic("account: " + err.Error()) // a string always has a JSON form
	}
	return append(dst, text...)
}
