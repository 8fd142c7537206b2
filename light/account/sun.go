package account

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"

	"parstead/light"
	"parstead/light/daylight"
	"parstead/light/field"
)

// What the sun adds to a light map. Found by simulated windowsills and glasshouses
// (light/account, the tests with the tag worlds), not published.
const (
	sunError     = 0.70 // of a share that was seen in one sky at one hour: standard deviation of its logarithm
	lampSunError = 0.25 // the same where lamps give part of the light and can't be told from the sun
	walksError   = 0.10 // of joined walks, beside the spread between them
	shadowsMove  = 0.50 // the spread between walks from which more of them help little
	manyWalks    = 3    // from here on their spread tells what the sun does,
	manyHours    = 2    // where they lie at so many hours
)

const (
	walkEnds   = time.Hour        // without a reading: the next one begins another walk
	hoursApart = 90 * time.Minute // walks closer than this saw the same hour
	wholeWalk  = 0.6              // of the positions that were ever walked: such a walk makes a map of its own
)

// sunMap is a light map under the sun.
type sunMap struct {
	walks int         // that make it
	hours int         // of the day at which they lie, told apart
	apart float64     // how far they are, of one place, in the mean: standard deviation of the logarithm
	at    []field.Map // by clock hour; nil where all hours are alike
	parts int         // occasions over which the places of its only walk were shared out; 1 for none
}

// enough tells whether the walks' spread tells what the sun does.
func (s *sunMap) enough() bool { return s.walks >= manyWalks && s.hours >= manyHours }

// sunOf is what is known of map i under the sun; nil where the sun does not reach.
func (b *bin) sunOf(i int) *sunMap {
	if i < 0 || i >= len(b.suns) {
		return nil
	}
	return b.suns[i]
}

// walk is a walk over the positions with its middle on the clock.
type walk struct {
	readings []field.Reading
	places   int
	parts    int     // stretches of readings
	clock    float64 // hours
}

// underSun makes the bin's maps where the sun reaches it. Its walks are mapped one
// by one and joined as far as each is believed; the spread between three of them and more
// is what the sun does to each place. A single hour shows no such spread: it takes the
// error that windowsills have.
func (b *bin) underSun(maps Maps, survey []field.Reading, epochs []light.Span) {
	of := b.Bin
	of.Daylight = light.Sunlit // also where only the readings say so
	for _, epoch := range epochs {
		var within []field.Reading
		for _, r := range survey {
			if epoch.Holds(r.At) {
				within = append(within, r)
			}
		}
		var made []field.Map
		var at []float64
		walks := walksOf(b.Bin, within, b.rack.Zone)
		for _, w := range walks {
			found, told := maps(of, w.readings, []light.Span{epoch}, b.anchors)
			b.remarks = append(b.remarks, told...)
			if len(found) > 0 {
				made, at = append(made, found[0]), append(at, w.clock)
			}
		}
		if len(made) == 0 {
			continue
		}
		m, s := b.overHours(made, at)
		s.parts = walks[0].parts
		b.maps, b.suns = append(b.maps, m), append(b.suns, s)
	}
}

// walksOf parts readings into walks that can each make a map. Where the positions
// were shared out over several walks, all of them are one.
func walksOf(bin light.Bin, readings []field.Reading, zone *time.Location) (walks []walk) {
	if len(readings) == 0 {
		return nil
	}
	readings = slices.Clone(readings)
	slices.SortStableFunc(readings, func(a, b field.Reading) int { return a.At.Compare(b.At) })
	all := walkOf(bin, readings, zone)
	first, parts := 0, 0
	for i := range readings {
		if i+1 < len(readings) && readings[i+1].At.Sub(readings[i].At) < walkEnds {
			continue
		}
		parts++
		if w := walkOf(bin, readings[first:i+1], zone); float64(w.places) >= wholeWalk*float64(all.places) {
			walks = append(walks, w)
		}
		first = i + 1
	}
	if len(walks) == 0 {
		all.parts = parts
		return []walk{all}
	}
	return walks
}

func walkOf(bin light.Bin, readings []field.Reading, zone *time.Location) walk {
	w := walk{readings: readings, parts: 1}
	places := map[light.Position]bool{}
	for _, r := range readings {
		if bin.Contains(r.Position) {
			places[r.Position] = true
		}
	}
	w.places = len(places)
	first, last := readings[0].At, readings[len(readings)-1].At
	h, m, s := first.Add(last.Sub(first) / 2).In(zone).Clock()
	w.clock = float64(h) + float64(m)/60 + float64(s)/3600
	return w
}

// overHours joins the maps of walks at hours of the clock.
func (b *bin) overHours(made []field.Map, clock []float64) (field.Map, *sunMap) {
	s := &sunMap{walks: len(made), hours: hoursOf(clock)}
	w := weigh(made, clock)
	whole := joined(made, w)
	spread := spreadOf(made)
	s.apart = floats.Norm(spread, 2) / math.Sqrt(float64(len(spread)))
	enough := s.enough()
	for hour := range 24 {
		m := whole
		m.Ratio, m.RelativeError = slices.Clone(whole.Ratio), slices.Clone(whole.RelativeError)
		for p := range m.Ratio {
			if enough {
				m.Ratio[p] = math.Exp(w.at(made, p, float64(hour)+0.5))
			}
			m.RelativeError[p] = math.Hypot(whole.RelativeError[p], b.sunErrorAt(hour, nearest(clock, hour), enough, spread, p))
		}
		if (!enough || w.hour == 0) && b.sun.Sunshine == nil { // all hours are alike
			return m, s
		}
		s.at = append(s.at, m)
	}
	return whole, s
}

// hoursOf counts the hours of the day at which walks lie.
func hoursOf(clock []float64) (n int) {
	order := slices.Sorted(slices.Values(clock))
	for i, t := range order {
		if i == 0 || t-order[i-1] >= hoursApart.Hours() {
			n++
		}
	}
	return n
}

// joined is the map of several as far as each is believed, with the mean of their errors:
// what interpolation does not know, several walks over the same positions don't either.
func joined(made []field.Map, w *weighed) field.Map {
	m := made[0]
	m.Ratio, m.RelativeError = make([]float64, len(m.Ratio)), make([]float64, len(m.Ratio))
	m.Readings, m.Residuals, m.Doubts = 0, nil, nil
	for _, one := range made {
		m.Readings += one.Readings
		m.Residuals, m.Doubts = append(m.Residuals, one.Residuals...), append(m.Doubts, one.Doubts...)
		m.OwnScale = m.OwnScale || one.OwnScale
		for p, e := range one.RelativeError {
			m.RelativeError[p] += e * e / float64(len(made))
		}
	}
	for p := range m.Ratio {
		for k, one := range made {
			m.Ratio[p] += w.shares[k] * math.Log(one.Ratio[p])
		}
		m.Ratio[p], m.RelativeError[p] = math.Exp(m.Ratio[p]), math.Sqrt(m.RelativeError[p])
	}
	return m
}

// nearest is the clock hour of the walk that lies nearest to an hour.
func nearest(at []float64, hour int) int {
	best := at[0]
	for _, t := range at {
		if math.Abs(t-float64(hour)-0.5) < math.Abs(best-float64(hour)-0.5) {
			best = t
		}
	}
	return int(best)
}

// sunErrorAt is what the sun adds to the error of place p in an hour of the clock
// whose nearest walk lies at another. Lamps that give part of the light make it
// less, by what is theirs in both hours.
func (b *bin) sunErrorAt(hour, walked int, enough bool, spread []float64, p int) float64 {
	e, least := sunError, 0.0
	if enough {
		mean := 0.0
		for _, s := range spread {
			mean += square(s) / float64(len(spread))
		}
		e, least = sunError*math.Sqrt((square(spread[p])+mean)/2), walksError
	}
	switch {
	case !b.sun.Lamps:
	case b.sun.Sunshine != nil:
		e *= max(b.sun.Sunshine[hour], b.sun.Sunshine[walked])
	default:
		e = min(e, lampSunError)
	}
	return math.Hypot(e, least)
}

// spreadOf is the standard deviation of the logarithm of each place's ratio between maps.
func spreadOf(made []field.Map) []float64 {
	spread := make([]float64, len(made[0].Ratio))
	if len(made) < 2 {
		return spread
	}
	for p := range spread {
		mean, squares := 0.0, 0.0
		for _, m := range made {
			mean += math.Log(m.Ratio[p]) / float64(len(made))
		}
		for _, m := range made {
			squares += square(math.Log(m.Ratio[p]) - mean)
		}
		spread[p] = math.Sqrt(squares / float64(len(made)-1))
	}
	return spread
}

// unmapped is the error of giving every place the light that the bin's sensors
// show, in an hour of the clock.
func (b *bin) unmapped(hour int) float64 {
	if !b.sun.Sun {
		return field.NoMapError
	}
	return math.Hypot(field.NoMapError, b.sunErrorAt(hour, hour, false, nil, 0))
}

// hourCuts are the full hours of the frame, where a map changes with the hour.
func (b *bin) hourCuts(f frame) (cuts []int64) {
	if !slices.ContainsFunc(b.suns, func(s *sunMap) bool { return s.at != nil }) {
		return nil
	}
	last := f.bounds[len(f.bounds)-1]
	for t := unix(f.bounds[0]).Truncate(time.Hour); t.UnixNano() < last; t = t.Add(time.Hour) {
		cuts = append(cuts, t.UnixNano())
	}
	return cuts
}

// knowSun finds out whether the sun reaches the bin.
func (b *bin) knowSun(ctx context.Context, suns *daylight.Kept, now time.Time) (err error) {
	if b.sun, err = suns.Of(ctx, b.rack, b.src, b.Bin, now); err != nil {
		return err
	}
	if b.sun.Sun {
		b.Daylight = light.Sunlit
	}
	return nil
}

// Walks counts the walks over a bin: readings of the meter with an hour between
// them belong to two.
func Walks(rack *light.Rack, bin light.Bin) (n int) {
	var last time.Time
	for _, r := range rack.Survey {
		if r.Position.Bin == bin.Name {
			if n == 0 || r.At.Sub(last) >= walkEnds {
				n++
			}
			last = r.At
		}
	}
	return n
}

// SunAdvice is what to do where the sun reaches a bin.
const SunAdvice = "walk all its places with the meter at three to five hours of the day, on a clear and on a dull day, or put a sensor at each place"

// sunRemark tells of the sun over the bin and what to do about it; "" where nothing
// is to be told.
func (b *bin) sunRemark() string {
	if !b.sun.Sun {
		return ""
	}
	says := fmt.Sprintf("Bin %s: the sun reaches it (%s), so each place's share of the light changes with the hour and the sky", b.Name, b.sun.Why)
	switch {
	case len(b.places) > 0 && !slices.ContainsFunc(b.places, func(p place) bool { return p.own == nil }):
		return says + "; a sensor at each place knows that."
	case slices.ContainsFunc(b.suns, func(s *sunMap) bool { return s.enough() && s.apart > shadowsMove }):
		return says + "; its walks differ so much from one another that shadows must move over the places, and each place's error stays wide: put a sensor at each place that matters, or hang a thin white curtain that evens the light out, and walk again at three to five hours."
	case slices.ContainsFunc(b.suns, func(s *sunMap) bool { return s.enough() }):
		return says + "; its map is made of several walks, of which those that agree count most, and the stated error holds what they differ by. Walk again when the season has changed."
	case slices.ContainsFunc(b.suns, func(s *sunMap) bool { return s.parts > 1 }):
		return says + ". Its places were walked in parts at different times, which can't part the sun from the place, and the stated error is wide: each time, " + SunAdvice + "."
	}
	return says + ". One walk can't know that, and the stated error is wide: " + SunAdvice + "."
}
