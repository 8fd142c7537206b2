// Package daylight tells whether the sun reaches a bin: because the grower says
// so, or because the bin's readings show light that no timer explains. Under the
// sun the share of light that a place gets changes with the hour and the sky, so
// that a light map walked once tells little of the whole day.
//
// The thresholds are this project's choice; none has a published source.
package daylight

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/dli"
)

// Signs is what is known of the sun over a bin.
type Signs struct {
	Sun   bool
	Why   string // how it is known, in words that follow on "sun reaches it:"
	Lamps bool   // whether lamps with a timer hang there too

	// Sunshine is the share of the light of each clock hour that is the sun's,
	// where lamps and sun can be told apart by the timer's switchings; else nil.
	Sunshine []float64
}

// The rules by which readings show the sun.
const (
	lookDays  = 14   // light days that are looked at, spread over the trial
	leastDays = 3    // of these must show it: a lamp that fails now and then does not
	awayFrom  = 1.0  // hours from a switching of the timer: closer, a timer that drifts explains light
	faint     = 0.03 // of the day's brightest hour: less is a lamp somewhere else
	unsteady  = 0.15 // standard deviation of the logarithms of the hours' light: a lamp left on is steadier
	ripple    = 0.20 // logarithm of the brightest over the darkest hour under the same lamps: warmth alone moves a lamp by less
	parting   = 0.40 // range of the logarithm of two sensors' ratio within a day under the same lamps
	out       = 0.10 // of the median hour: a lamp that is out
	shown     = 3    // hours that can show anything
)

// Of tells what the trial's file and the readings of a bin's sensors up to now show.
func Of(ctx context.Context, rack *light.Rack, src light.Source, bin light.Bin, now time.Time) (Signs, error) {
	signs := Signs{Lamps: slices.ContainsFunc(rack.Lamps, func(l light.Lamp) bool { return timed(l, bin) })}
	if bin.Daylight == light.Sunless {
		return signs, nil
	}
	if bin.Daylight == light.Sunlit {
		signs.Sun, signs.Why = true, "trial.toml says so"
		if !signs.Lamps {
			return signs, nil
		}
	}
	days, err := look(ctx, rack, src, bin, now)
	if err != nil {
		return Signs{}, err
	}
	if !signs.Sun {
		signs.Why = why(days)
		signs.Sun = signs.Why != ""
	}
	if signs.Sun && signs.Lamps {
		signs.Sunshine = sunshine(days)
	}
	return signs, nil
}

// timed tells whether a lamp over the bin is one that a timer switches, not the sun
// by the name of a lamp.
func timed(l light.Lamp, bin light.Bin) bool {
	return len(l.On) > 0 && !l.Daylight && slices.Contains(bin.Lamps, l.Name)
}

// hour is what one sensor saw in one hour of a day.
type hour struct {
	clock int     // 0 to 23
	mean  float64 // in the sensor's unit; NaN where readings don't bridge it
	lamps int     // set of the lamps that are on throughout; mixed where one switches
	away  bool    // no lamp is on, nor was or will be within awayFrom
}

const mixed = -1

// day is a sensor's hours on one light day.
type day struct {
	sensor int
	date   light.Date
	least  float64 // of its unit: less says nothing about light
	hours  []hour
	level  float64 // of the lamps: by what the readings change where the timer switches; NaN where it does not show
}

// look reads the hours of days spread over the trial up to now.
func look(ctx context.Context, rack *light.Rack, src light.Source, bin light.Bin, now time.Time) ([]day, error) {
	var days []day
	for _, d := range spread(rack, now) {
		span := rack.Day(d)
		for i, s := range rack.Sensors {
			if s.Position.Bin != bin.Name || !s.Measures.IsLight() || !s.During.Holds(span.From) || !s.During.Holds(span.Until.Add(-1)) {
				continue
			}
			x, err := read(ctx, rack, src, bin, s, span)
			if err != nil {
				return nil, err
			}
			x.sensor, x.date = i, d
			days = append(days, x)
		}
	}
	return days, nil
}

// finished counts the light days up to now; all of the trial's where that is zero.
func finished(rack *light.Rack, now time.Time) int {
	n := rack.Starts.DaysUntil(rack.Ends) + 1
	if !now.IsZero() {
		n = min(n, rack.Starts.DaysUntil(rack.DateAt(now)))
	}
	return n
}

// spread are the finished light days that are looked at.
func spread(rack *light.Rack, now time.Time) (dates []light.Date) {
	n := finished(rack, now)
	if n <= lookDays {
		for i := range max(n, 0) {
			dates = append(dates, rack.Starts.Add(i))
		}
		return dates
	}
	for i := range lookDays {
		dates = append(dates, rack.Starts.Add(i*(n-1)/(lookDays-1)))
	}
	return dates
}

// read reads one sensor's hours of a light day.
func read(ctx context.Context, rack *light.Rack, src light.Source, bin light.Bin, s light.Sensor, span light.Span) (day, error) {
	x := day{least: s.Measures.LampIsOut(), level: math.NaN()}
	var series light.Series
	around := light.Span{From: span.From.Add(-s.MaxGap), Until: span.Until.Add(s.MaxGap + 1)}
	if err := src.Series(ctx, s.Name, around, &series); err != nil {
		return x, fmt.Errorf("read sensor %s: %w", s.Name, err)
	}
	as := dli.Stretch{
		From: span.From.Add(-s.MaxGap).UnixNano(), Until: span.Until.Add(s.MaxGap + 1).UnixNano(), MaxGap: int64(s.MaxGap),
		Scale: s.Scale, Offset: s.Offset, Low: s.Low, High: s.High, Dark: s.DarkOffset(), PerUnit: 1, Saturates: true,
	}
	curve, _ := dli.Integrate(&series, []dli.Stretch{as}, []int64{span.From.UnixNano(), span.Until.UnixNano()}, nil)
	for from := span.From; !from.Add(time.Hour).After(span.Until); from = from.Add(time.Hour) {
		h := light.Span{From: from, Until: from.Add(time.Hour)}
		mean, covered := curve.Mean(h.From.UnixNano(), h.Until.UnixNano())
		if covered < int64(time.Hour) {
			mean = math.NaN()
		}
		lamps, away := litBy(rack, bin, h)
		x.hours = append(x.hours, hour{h.From.In(rack.Zone).Hour(), mean, lamps, away})
	}
	x.level = level(rack, bin, span, &curve, s.Every)
	return x, nil
}

// litBy says which lamps are on throughout an hour, as a set, and whether none is
// anywhere near it.
func litBy(rack *light.Rack, bin light.Bin, h light.Span) (lamps int, away bool) {
	const margin = time.Duration(awayFrom * float64(time.Hour))
	wide := light.Span{From: h.From.Add(-margin), Until: h.Until.Add(margin)}
	away = true
	for i, l := range rack.Lamps {
		if !timed(l, bin) {
			continue
		}
		away = away && len(l.Lit(wide, rack.Zone)) == 0
		lit := time.Duration(0)
		for _, s := range l.Lit(h, rack.Zone) {
			lit += s.Length()
		}
		switch {
		case lit == h.Length():
			lamps |= 1 << (i % 30)
		case lit > 0:
			return mixed, false
		}
	}
	return lamps, away
}

// level is by how much a day's readings change where the timer switches, in the
// mean over its switchings: the lamps' own light, whatever the sun does.
func level(rack *light.Rack, bin light.Bin, span light.Span, curve *dli.Curve, every time.Duration) float64 {
	const beside = 15 * time.Minute
	var steps []float64
	for _, l := range rack.Lamps {
		if !timed(l, bin) {
			continue
		}
		for _, s := range l.Lit(span, rack.Zone) {
			for _, edge := range []struct {
				at   time.Time
				sign float64
			}{{s.From, 1}, {s.Until, -1}} {
				skip := max(every, 5*time.Minute)
				if edge.at.Add(-skip-beside).Before(span.From) || edge.at.Add(skip+beside).After(span.Until) {
					continue // the curve knows nothing there
				}
				before, b := curve.Mean(edge.at.Add(-skip-beside).UnixNano(), edge.at.Add(-skip).UnixNano())
				after, a := curve.Mean(edge.at.Add(skip).UnixNano(), edge.at.Add(skip+beside).UnixNano())
				if b == int64(beside) && a == int64(beside) {
					steps = append(steps, edge.sign*(after-before))
				}
			}
		}
	}
	return mean(steps)
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / float64(len(x))
}
