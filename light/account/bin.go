package account

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/daylight"
	"parstead/light/dli"
	"parstead/light/field"
)

// bin is one bin's part of an account, while one question is answered.
type bin struct {
	light.Bin
	rack    *light.Rack
	src     light.Source
	lamps   []light.Lamp // over it, every stretch
	tracks  []*track
	maps    []field.Map
	suns    []*sunMap // of maps; nil, or shorter, where the sun does not reach
	sun     daylight.Signs
	remarks []string
	doubts  []field.Doubt // about the walks, beside those of the maps
	regimes []light.Span  // stretches of unchanged lamps, timers and sensors
	outages []light.Span  // of the lamp, known from the log; an open end lasts until readings come back

	suspects []suspicion // in the order in which they were found
	unsure   []float64   // per cell: error, as a share, of sensors that part with nobody knowing which is wrong

	frame  frame
	cells  []cell
	first  []int // cells[first[d]:first[d+1]] make up date d
	places []place
	all    *pooled // of all tracks
	light  []cellLight

	seen         []int // of judge
	logs, others []float64

	lastDate light.Date // that dayOf was asked for, and its span
	lastDay  light.Span
}

// cell is a stretch of a light day in which nothing about the bin changes.
type cell struct {
	date        light.Date
	from, until int64
	m           *field.Map // nil: no light map holds
	of          int        // index of the map in maps, of which m may be an hour's; −1 for none
	regime      light.Span
}

// place is a position whose light is known, with its own sensors if it has any.
type place struct {
	light.Position
	index int
	own   *pooled // nil: none
	light []ownLight
}

// bin gathers what the account knows of a bin over the frame, without its
// sensors' readings.
func (a *Account) bin(ctx context.Context, of light.Bin, log []light.Event, f frame) (*bin, error) {
	b := &bin{Bin: of, rack: a.rack, src: a.src}
	for _, l := range a.rack.Lamps {
		if slices.Contains(of.Lamps, l.Name) {
			b.lamps = append(b.lamps, l)
		}
	}
	if err := b.knowWater(ctx); err != nil {
		return nil, err
	}
	if err := b.findTracks(log, a.o.SetAside); err != nil {
		return nil, err
	}
	if err := b.knowSun(ctx, a.o.Suns, a.now()); err != nil {
		return nil, err
	}
	var changes, wiped []time.Time
	for _, e := range log {
		if e.Kind.EndsMap() && Concerns(b.rack, e, of.Name) {
			changes = append(changes, e.At)
		}
		if e.Kind == light.LampCleaned && Concerns(b.rack, e, of.Name) {
			wiped = append(wiped, e.At)
		}
		if e.Kind == light.PowerCut && (e.Bin == "" || e.Bin == of.Name) {
			out := e.During
			if out.From.IsZero() {
				out.From = e.At
			}
			b.outages = append(b.outages, out)
		}
	}
	asked := light.Span{From: unix(f.bounds[0]), Until: unix(f.bounds[len(f.bounds)-1])}
	epochs := slices.DeleteFunc(between(changes), func(s light.Span) bool { return !s.Overlaps(asked) })
	survey, err := b.survey(ctx, epochs, a.now())
	if err != nil {
		return nil, err
	}
	for _, d := range b.doubts {
		b.remarks = append(b.remarks, d.Sentence())
	}
	if b.sun.Sun {
		b.underSun(a.o.Maps, survey, epochs)
	} else {
		var told []string
		b.maps, told = a.o.Maps(of, survey, epochs, b.anchors)
		b.remarks = append(b.remarks, told...)
	}
	b.wipe(wiped, survey)
	changes = append(changes, wiped...)
	for _, l := range b.lamps {
		for _, edge := range []time.Time{l.During.From, l.During.Until} {
			if !edge.IsZero() {
				changes = append(changes, edge)
			}
		}
	}
	b.regimes = between(changes)
	b.enter(f)
	return b, nil
}

// readFromAbove tells whether the bin's light is known from another depth than
// that of its plants: by a sensor, or without one by a meter in the air.
func (b *bin) readFromAbove() bool {
	sensors := 0
	for _, s := range b.rack.Sensors {
		if s.Position.Bin == b.Name && s.Measures.IsLight() {
			sensors++
			if s.DepthCM != b.WaterCM {
				return true
			}
		}
	}
	return sensors == 0 && slices.ContainsFunc(b.rack.Survey, func(r light.SurveyReading) bool { return r.Position.Bin == b.Name })
}

// between gives the stretches that the instants part, open at both ends.
func between(instants []time.Time) []light.Span {
	slices.SortFunc(instants, time.Time.Compare)
	spans := []light.Span{{}}
	for _, t := range instants {
		last := &spans[len(spans)-1]
		if last.From.Equal(t) {
			continue
		}
		last.Until = t
		spans = append(spans, light.Span{From: t})
	}
	return spans
}

// factors are the lamps' lux per PPFD, one stretch for each set of lamps. Lamps
// of different colour over one bin have no factor in common.
func (b *bin) factors() ([]dli.Factor, error) {
	var edges []time.Time
	for _, l := range b.lamps {
		edges = append(edges, l.During.From, l.During.Until)
	}
	edges = slices.DeleteFunc(edges, time.Time.IsZero)
	var factors []dli.Factor
	for _, span := range between(edges) {
		var over *light.Lamp
		for i, l := range b.lamps {
			if !l.During.Overlaps(span) {
				continue
			}
			if over != nil && over.LuxPerPPFD != l.LuxPerPPFD {
				return nil, fmt.Errorf("lamps %s and %s over bin %s have different lux_per_ppfd (%v, %v), so its lux sensor has no factor: give both the one measured under both", over.Name, l.Name, b.Name, over.LuxPerPPFD, l.LuxPerPPFD)
			}
			over = &b.lamps[i]
		}
		if over != nil {
			factors = append(factors, dli.Factor{During: span, LuxPerPPFD: over.LuxPerPPFD})
		}
	}
	return factors, nil
}

// enter lays the bin's cells over the frame.
func (b *bin) enter(f frame) {
	b.frame = f
	cuts := append(slices.Clone(f.cuts), b.hourCuts(f)...)
	for _, spans := range [][]light.Span{b.regimes, spansOf(b.maps)} {
		for _, s := range spans {
			cuts = append(cuts, dli.Nanoseconds(s.From, f.bounds[0]), dli.Nanoseconds(s.Until, f.bounds[0]))
		}
	}
	slices.Sort(cuts)
	b.cells, b.first = nil, []int{0}
	for d := range f.dates {
		from, until := f.bounds[d], f.bounds[d+1]
		at, _ := slices.BinarySearch(cuts, from)
		for ; at < len(cuts) && cuts[at] < until; at++ {
			if cuts[at] > from {
				b.cells = append(b.cells, b.cell(f.dates[d], from, cuts[at]))
				from = cuts[at]
			}
		}
		b.cells = append(b.cells, b.cell(f.dates[d], from, until))
		b.first = append(b.first, len(b.cells))
	}
	b.unsure = make([]float64, len(b.cells))
	b.all = newPooled(b, b.tracks, true)
	b.findPlaces()
}

func spansOf(maps []field.Map) (spans []light.Span) {
	for _, m := range maps {
		spans = append(spans, m.During)
	}
	return spans
}

func (b *bin) cell(d light.Date, from, until int64) cell {
	m, of := b.mapAt(from)
	return cell{date: d, from: from, until: until, m: m, of: of, regime: b.regimeAt(from)}
}

// mapAt is the light map at an instant, under the sun that of its hour, and its
// index among the maps; nil and −1 where none holds.
func (b *bin) mapAt(t int64) (*field.Map, int) {
	at := unix(t)
	for i := range b.maps {
		if !b.maps[i].During.Holds(at) {
			continue
		}
		if sun := b.sunOf(i); sun != nil && sun.at != nil {
			return &sun.at[at.In(b.rack.Zone).Hour()], i
		}
		return &b.maps[i], i
	}
	return nil, -1
}

func (b *bin) regimeAt(t int64) light.Span {
	at := time.Unix(0, t)
	i := slices.IndexFunc(b.regimes, func(s light.Span) bool { return s.Holds(at) })
	return b.regimes[i]
}

// findPlaces lists the positions whose light is known in any way: all of them
// where a light sensor speaks for the bin, else those that a light map knows.
func (b *bin) findPlaces() {
	b.places = nil
	for i, p := range b.Positions() {
		var own []*track
		for _, t := range b.tracks {
			if t.position == p {
				own = append(own, t)
			}
		}
		known := len(b.tracks) > 0 || slices.ContainsFunc(b.maps, func(m field.Map) bool { return !math.IsNaN(m.Ratio[i]) })
		if !known {
			continue
		}
		place := place{Position: p, index: i}
		if len(own) > 0 {
			place.own = newPooled(b, own, false)
		}
		b.places = append(b.places, place)
	}
}

// survey gives the walks over this bin as the maps need them: in PPFD at the
// height of the plants, with what the bin's sensors showed at the same instant.
// A row dated after now, unless that is zero, is left out.
func (b *bin) survey(ctx context.Context, epochs []light.Span, now time.Time) ([]field.Reading, error) {
	var survey []field.Reading
	reference := newPooled(b, b.tracks, false)
	defer reference.release()
	var ahead, dark []light.SurveyReading // of time, and in the dark by the timer
	for _, r := range b.rack.Survey {
		if r.Position.Bin != b.Name || !slices.ContainsFunc(epochs, func(s light.Span) bool { return s.Holds(r.At) }) {
			continue
		}
		if undated(r, now) {
			ahead = append(ahead, r)
			continue
		}
		if b.unlit(r) {
			dark = append(dark, r)
		}
		at, err := reference.at(ctx, r.At.UnixNano(), nil)
		if err != nil {
			return nil, err
		}
		factor, meter, err := b.surveyFactor(r, !math.IsNaN(at))
		if err != nil {
			return nil, err
		}
		ppfd := float64(r.Measures.PPFD(r.Value, factor))
		survey = append(survey, field.Reading{
			At: r.At, Position: r.Position, PPFD: ppfd * b.underWater(0, b.WaterCM), Reference: at, Meter: meter, Row: r.Row,
		})
	}
	b.doubtTimes(ahead, dark)
	return survey, nil
}

// whiteFactor stands for the factor of a lamp that has none, where it cancels.
const whiteFactor light.LuxPerPPFD = 65

// surveyFactor is what a row in lux is divided by, and the meter whose scale it has.
// Beside a PPFD sensor the factor is part of the meter's scale, which cancels: then
// none is needed.
func (b *bin) surveyFactor(r light.SurveyReading, referred bool) (factor light.LuxPerPPFD, meter string, err error) {
	if !r.Measures.NeedsLampFactor() {
		return 0, r.Meter, nil
	}
	factors, err := b.factors()
	if err == nil {
		i := slices.IndexFunc(factors, func(f dli.Factor) bool { return f.During.Holds(r.At) })
		if i >= 0 && factors[i].LuxPerPPFD > 0 {
			return factors[i].LuxPerPPFD, r.Meter, nil
		}
		err = fmt.Errorf("survey of bin %s on %s is in lux, but no lamp over it has a factor then, nor was a PPFD sensor read meanwhile: give the lamp lux_per_ppfd, a spectrum or an illuminant", b.Name, light.DateOf(r.At.In(b.rack.Zone)))
	}
	if referred && !b.rack.NeedsFactor(b.Bin, r.At) {
		return whiteFactor, r.Meter + " in lux", nil
	}
	return 0, "", err
}

// anchors are the bin's light sensors at an instant.
func (b *bin) anchors(at time.Time) (anchors []field.Anchor) {
	t := at.UnixNano()
	for _, track := range b.tracks {
		if track.from <= t && t < track.until {
			anchors = append(anchors, field.Anchor{Position: track.position, Weight: track.weight})
		}
	}
	return anchors
}

// lit are the stretches of a window in which the timer has any of the lamps on,
// outages whose end is known left out.
func (b *bin) lit(from, until int64) []light.Span {
	lit := b.rack.Lit(b.Bin, light.Span{From: unix(from), Until: unix(until)})
	for _, out := range b.closedOutages() {
		var left []light.Span
		for _, s := range lit {
			if before, ok := s.Within(light.Span{Until: out.From}); ok {
				left = append(left, before)
			}
			if after, ok := s.Within(light.Span{From: out.Until}); ok {
				left = append(left, after)
			}
		}
		lit = left
	}
	return lit
}

// closedOutages are the outages whose end is known, merged.
func (b *bin) closedOutages() []light.Span {
	closed := slices.DeleteFunc(slices.Clone(b.outages), func(s light.Span) bool { return s.Until.IsZero() })
	return light.Merge(closed)
}

func unix(t int64) time.Time { return time.Unix(0, t) }
