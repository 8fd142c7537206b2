// Package climate is the air at the plants: temperature, humidity and vapour
// pressure deficit of a bin's light days, light and dark apart, with degree-days
// and the hours outside the trial's limits.
package climate

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/dli"
)

// Options are what an account of the climate may be told.
type Options struct {
	Now func() time.Time // ends a running day; nil: every day is over
}

// leastCovered is the share of a light day from which its lowest and highest
// temperature are trusted to count degree-days.
const leastCovered = 0.9

// Day is the air of one bin on one light day. Light and dark are told apart by
// the timers of the bin's lamps: light while any of them is on. What is not
// known is NaN.
//
// Where several sensors of a quantity stand in a bin, means and degree-days are
// means over the sensors that read; lowest, highest and hours outside the limits
// are those of the sensor that shows most.
type Day struct {
	Date light.Date
	Bin  string

	LightMean, DarkMean         float64 // °C
	Min, Max                    float64 // °C
	HumidityLight, HumidityDark float64 // % relative humidity
	VPDLight, VPDDark           float64 // kPa, mean over time
	DegreeDays                  float64 // °C d; NaN too for a day covered by less than nine tenths

	Cold, Hot, Dry, Damp float64 // hours outside the trial's limits
	Covered              float64 // share of the day that readings of temperature bridge, else of humidity
}

// Days gives the air of every bin with a sensor of temperature or humidity, for
// the light days from one date to another, both included, in the order of bin
// (as in the rack) and date. A running day is counted so far; days that have not
// begun are left out.
func Days(ctx context.Context, rack *light.Rack, src light.Source, o Options, from, to light.Date) ([]Day, error) {
	dates, bounds := frame(rack, o, from, to)
	if len(dates) == 0 {
		return nil, nil
	}
	log, err := src.Events(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	log = light.Standing(log)
	var days []Day
	for _, b := range rack.Bins {
		air := bin{rack: rack, of: b}
		for _, s := range rack.Sensors {
			if s.Position.Bin != b.Name {
				continue
			}
			kind := &air.temperature
			if s.Measures == light.QuantityHumidity {
				kind = &air.humidity
			} else if s.Measures != light.QuantityTemperature {
				continue
			}
			if err := add(ctx, src, log, kind, s, bounds); err != nil {
				return nil, err
			}
		}
		if len(air.temperature)+len(air.humidity) == 0 {
			continue
		}
		for i, d := range dates {
			days = append(days, air.day(d, bounds[i], bounds[i+1]))
		}
	}
	return days, nil
}

// frame are the dates asked for and the instants that bound them.
func frame(rack *light.Rack, o Options, from, to light.Date) (dates []light.Date, bounds []int64) {
	var now time.Time
	if o.Now != nil {
		now = o.Now()
	}
	for d := from; !to.Before(d); d = d.Add(1) {
		day := rack.Day(d)
		if !now.IsZero() && !day.From.Before(now) {
			break
		}
		if !now.IsZero() && now.Before(day.Until) {
			day.Until = now
		}
		if bounds == nil {
			bounds = append(bounds, day.From.UnixNano())
		}
		dates, bounds = append(dates, d), append(bounds, day.Until.UnixNano())
	}
	return dates, bounds
}

// add reads one stretch of a sensor.
func add(ctx context.Context, src light.Source, log []light.Event, curves *[]dli.Curve, s light.Sensor, bounds []int64) error {
	stretches := []dli.Stretch{{
		From: dli.Nanoseconds(s.During.From, math.MinInt64), Until: dli.Nanoseconds(s.During.Until, math.MaxInt64),
		MaxGap: int64(s.MaxGap), Scale: s.Scale, Offset: s.Offset, Low: s.Low, High: s.High, PerUnit: 1,
	}}
	for _, e := range log {
		if e.Kind == light.Ignore && e.Sensor == s.Name && e.During != (light.Span{}) {
			stretches = dli.Without(stretches, e.During)
		}
	}
	first, last := bounds[0], bounds[len(bounds)-1]
	span, ok := s.During.Within(light.Span{From: unix(first).Add(-s.MaxGap), Until: unix(last).Add(s.MaxGap + 1)})
	if !ok {
		return nil
	}
	var series light.Series
	if err := src.Series(ctx, s.Name, span, &series); err != nil {
		return fmt.Errorf("read sensor %s: %w", s.Name, err)
	}
	curve, _ := dli.Integrate(&series, stretches, []int64{first, last}, nil)
	*curves = append(*curves, curve)
	return nil
}

// bin is the air of one bin.
type bin struct {
	rack                  *light.Rack
	of                    light.Bin
	temperature, humidity []dli.Curve
}

func (b *bin) day(d light.Date, from, until int64) Day {
	lit, dark := b.litAndDark(from, until)
	day := Day{
		Date: d, Bin: b.of.Name,
		LightMean: mean(b.temperature, lit), DarkMean: mean(b.temperature, dark),
		HumidityLight: mean(b.humidity, lit), HumidityDark: mean(b.humidity, dark),
		VPDLight: b.deficit(lit), VPDDark: b.deficit(dark),
		DegreeDays: math.NaN(), Cold: math.NaN(), Hot: math.NaN(), Dry: math.NaN(), Damp: math.NaN(),
	}
	day.Min, day.Max = extremes(b.temperature, from, until)
	day.Covered = covered(b.temperature, from, until)
	if len(b.temperature) == 0 {
		day.Covered = covered(b.humidity, from, until)
	}
	if b.rack.HasBase {
		day.DegreeDays = b.degreeDays(from, until)
	}
	if l := b.rack.Limits.Celsius; l != nil {
		day.Cold, day.Hot = outside(b.temperature, *l, from, until)
	}
	if l := b.rack.Limits.Humidity; l != nil {
		day.Dry, day.Damp = outside(b.humidity, *l, from, until)
	}
	return day
}

// litAndDark parts a window by the timers of the bin's lamps; a bin without
// lamps has neither.
func (b *bin) litAndDark(from, until int64) (lit, dark []dli.Gap) {
	if !slices.ContainsFunc(b.rack.Lamps, func(l light.Lamp) bool { return slices.Contains(b.of.Lamps, l.Name) }) {
		return nil, nil
	}
	at := from
	for _, s := range b.rack.Lit(b.of, light.Span{From: unix(from), Until: unix(until)}) {
		if on := s.From.UnixNano(); at < on {
			dark = append(dark, dli.Gap{From: at, Until: on})
		}
		at = s.Until.UnixNano()
		lit = append(lit, dli.Gap{From: s.From.UnixNano(), Until: at})
	}
	if at < until {
		dark = append(dark, dli.Gap{From: at, Until: until})
	}
	return lit, dark
}

// mean is the mean over the sensors of their means over the windows.
func mean(curves []dli.Curve, windows []dli.Gap) float64 {
	sum, n := 0.0, 0.0
	for i := range curves {
		integral, length := 0.0, 0.0
		for _, w := range windows {
			if m, covered := curves[i].Mean(w.From, w.Until); covered > 0 {
				integral += m * float64(covered)
				length += float64(covered)
			}
		}
		if length > 0 {
			sum += integral / length
			n++
		}
	}
	return sum / n
}

// deficit is the mean vapour pressure deficit over the windows, by the trapezoid
// rule between the readings of either quantity, each the mean of the sensors
// that read at the time.
func (b *bin) deficit(windows []dli.Gap) float64 {
	sum, length := 0.0, 0.0
	var nodes []int64
	for _, w := range windows {
		nodes = append(nodes[:0], w.From, w.Until)
		for _, curves := range [][]dli.Curve{b.temperature, b.humidity} {
			for i := range curves {
				nodes = append(nodes, readings(&curves[i], w.From, w.Until)...)
				for _, g := range curves[i].Gaps {
					nodes = append(nodes, min(max(g.From, w.From), w.Until), min(max(g.Until, w.From), w.Until))
				}
			}
		}
		slices.Sort(nodes)
		nodes = slices.Compact(nodes)
		for i, t := range nodes[1:] {
			from := nodes[i]
			middle := from + (t-from)/2 // inside of whatever gap there is
			if math.IsNaN(at(b.temperature, middle)) || math.IsNaN(at(b.humidity, middle)) {
				continue
			}
			left := VapourPressureDeficit(at(b.temperature, from), at(b.humidity, from))
			right := VapourPressureDeficit(at(b.temperature, t), at(b.humidity, t))
			if !math.IsNaN(left) && !math.IsNaN(right) {
				sum += (left + right) / 2 * float64(t-from)
				length += float64(t - from)
			}
		}
	}
	return sum / length
}

// at is the mean of the sensors that read at an instant; NaN if none does.
func at(curves []dli.Curve, t int64) float64 {
	sum, n := 0.0, 0.0
	for i := range curves {
		if x, ok := curves[i].At(t); ok {
			sum += x
			n++
		}
	}
	return sum / n
}

// readings are the times of a curve's readings within a window.
func readings(c *dli.Curve, from, until int64) []int64 {
	first, _ := slices.BinarySearch(c.Times, from)
	last, _ := slices.BinarySearch(c.Times, until)
	return c.Times[first:last]
}

// extremes are the lowest and highest reading of any sensor in a window.
func extremes(curves []dli.Curve, from, until int64) (low, high float64) {
	low, high = math.NaN(), math.NaN()
	for i := range curves {
		first, _ := slices.BinarySearch(curves[i].Times, from)
		for range readings(&curves[i], from, until) {
			x := curves[i].Values[first]
			if !(low <= x) {
				low = x
			}
			if !(high >= x) {
				high = x
			}
			first++
		}
	}
	return low, high
}

// covered is the greatest share of a window that one sensor's readings bridge.
func covered(curves []dli.Curve, from, until int64) (share float64) {
	for i := range curves {
		_, ns := curves[i].Mean(from, until)
		share = max(share, float64(ns)/float64(until-from))
	}
	return share
}

// degreeDays is the mean over the sensors that cover the day well.
func (b *bin) degreeDays(from, until int64) float64 {
	sum, n := 0.0, 0.0
	for i := range b.temperature {
		one := b.temperature[i : i+1]
		if low, high := extremes(one, from, until); covered(one, from, until) >= leastCovered {
			sum += DegreeDays(low, high, b.rack.BaseCelsius)
			n++
		}
	}
	return sum / n
}

// outside are the hours below and above the limits, of the sensor that shows
// most of each; NaN if none reads.
func outside(curves []dli.Curve, limits [2]float64, from, until int64) (below, above float64) {
	below, above = math.NaN(), math.NaN()
	for i := range curves {
		c := &curves[i]
		if _, ns := c.Mean(from, until); ns == 0 {
			continue
		}
		first, _ := slices.BinarySearch(c.Times, from)
		last, _ := slices.BinarySearch(c.Times, until)
		first, last = max(0, first-1), min(len(c.Times), last+1)
		upsideDown := dli.Curve{Times: c.Times[first:last], Gaps: c.Gaps}
		for _, x := range c.Values[first:last] {
			upsideDown.Values = append(upsideDown.Values, -x)
		}
		low, high := []float64{0}, []float64{0}
		upsideDown.Above([]float64{-limits[0]}, from, until, low)
		c.Above([]float64{limits[1]}, from, until, high)
		if h := low[0] / 3.6e12; !(below >= h) {
			below = h
		}
		if h := high[0] / 3.6e12; !(above >= h) {
			above = h
		}
	}
	return below, above
}

func unix(t int64) time.Time { return time.Unix(0, t) }
