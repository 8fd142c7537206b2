package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

const (
	drift       = 10 * time.Minute // a timer later or earlier than this, besides half a reading's spacing
	dimmedBy    = 0.10             // of the baseline
	plateauOver = 3 * time.Hour    // of lit time: what counts as the present plateau
)

// lamps judges the lamps over one bin by all its light sensors that are
// neither silent nor stuck.
func (l *look) lamps(bin light.Bin) []Condition {
	var sensors []*sensed
	for i := range l.sensors {
		if s := &l.sensors[i]; s.Position.Bin == bin.Name && s.Measures.IsLight() && !s.quiet && !s.stuck && len(s.points) > 0 {
			sensors = append(sensors, s)
		}
	}
	if len(sensors) == 0 {
		return nil
	}
	timer := l.due(bin.Name)
	if len(timer) == 0 {
		return nil
	}
	seen := switchings(sensors, timer, l.now)
	expected := shifted(timer, seen)
	var found []Condition
	if c, ok := l.dark(bin, sensors, expected); ok {
		found = append(found, c)
	} else if l.sunny[bin.Name] {
		return nil // light at other hours, more or less of it, is the sky's doing
	} else if c, ok := l.dimmed(bin, sensors, expected); ok {
		found = append(found, c)
	}
	if c, ok := l.lit(bin, sensors, expected); ok {
		found = append(found, c)
	}
	if c, ok := l.drifting(bin, sensors, seen); ok {
		found = append(found, c)
	}
	return found
}

// isLit tells whether a value of the sensor means that its lamp is on.
func (s *sensed) isLit(value float64) bool {
	if !math.IsNaN(s.baseline) {
		return value >= share*s.baseline
	}
	return value >= s.Measures.LampIsOut()
}

// dark finds a lamp that is out though due: every sensor dark, since longer
// than the grace, at the end of the newest stretch in which it was due. It
// lasts through the night until light is seen again.
func (l *look) dark(bin light.Bin, sensors []*sensed, expected []light.Span) (Condition, bool) {
	var since time.Time
	for _, s := range sensors {
		lit := inside(s.points, lateStart(expected))
		i := len(lit)
		for i > 0 && !s.isLit(lit[i-1].value) {
			i--
		}
		if i == len(lit) || lit[len(lit)-1].at().Sub(lit[i].at()) < grace {
			return Condition{}, false
		}
		if at := lit[i].at(); since.IsZero() || at.After(since) {
			since = at
		}
	}
	return Condition{
		Kind: DarkWhenDue, Bin: bin.Name, Since: since,
		Says: fmt.Sprintf("Bin %s is dark though its lamp is due.", bin.Name),
	}, true
}

// lateStart leaves out the grace after each switching on.
func lateStart(spans []light.Span) []light.Span {
	var in []light.Span
	for _, s := range spans {
		s.From = s.From.Add(grace)
		if s.From.Before(s.Until) {
			in = append(in, s)
		}
	}
	return in
}

// lit finds light in the dark hours that lasts until now.
func (l *look) lit(bin light.Bin, sensors []*sensed, expected []light.Span) (Condition, bool) {
	night := inner(between(expected, l.around()), grace)
	var since time.Time
	for _, s := range sensors {
		n := len(s.points)
		i := n
		for i > 0 && s.isLit(s.points[i-1].value) && len(inside(s.points[i-1:i], night)) == 1 {
			i--
		}
		if i == n || s.points[n-1].at().Sub(s.points[i].at()) < grace || same(s.points[i:]) {
			return Condition{}, false // a sensor that sends one value may be stuck: flat tells
		}
		if at := s.points[i].at(); since.IsZero() || at.After(since) {
			since = at
		}
	}
	return Condition{
		Kind: LitWhenDark, Bin: bin.Name, Since: since,
		Says: fmt.Sprintf("Bin %s is lit though its lamp should be off.", bin.Name),
	}, true
}

func same(ps []point) bool {
	return !slices.ContainsFunc(ps, func(p point) bool { return p.value != ps[0].value })
}

// dimmed compares the plateau of the last lit hours with the baseline, in the
// median over the sensors.
func (l *look) dimmed(bin light.Bin, sensors []*sensed, expected []light.Span) (Condition, bool) {
	var ratios []float64
	var since time.Time
	for _, s := range sensors {
		recent, from := s.plateau(expected)
		if r := recent / s.baseline; !math.IsNaN(r) {
			ratios = append(ratios, r)
			since = from
		}
	}
	r := median(ratios)
	if math.IsNaN(r) || r >= 1-dimmedBy {
		return Condition{}, false
	}
	says := fmt.Sprintf("Bin %s gets %.0f %% less light than at the start of this light map", bin.Name, 100*(1-r))
	if len(ratios) == 1 {
		says += ", by its only sensor: the lamp gives less, or something covers the sensor"
	}
	return Condition{Kind: Dimmed, Bin: bin.Name, Since: since, Says: says + "."}, true
}

// plateau is the median of the newest lit readings that span plateauOver, and
// when they begin; NaN where there are too few.
func (s *sensed) plateau(expected []light.Span) (float64, time.Time) {
	lit := inside(s.points, inner(expected, grace))
	lit = slices.DeleteFunc(lit, func(p point) bool { return !s.isLit(p.value) }) // an outage is no dimming
	n := int(plateauOver / s.Every)
	if n < 1 || len(lit) < n {
		return math.NaN(), time.Time{}
	}
	lit = lit[len(lit)-n:]
	return median(values(lit)), lit[0].at()
}

// drifting finds a timer whose newest two switchings were both seen off their
// time. Readings far apart blur a switching by half their spacing.
func (l *look) drifting(bin light.Bin, sensors []*sensed, seen []switching) (Condition, bool) {
	blur := time.Duration(math.MaxInt64)
	for _, s := range sensors {
		if math.IsNaN(s.baseline) {
			return Condition{}, false
		}
		blur = min(blur, s.Every/2)
	}
	var last []switching
	for _, s := range seen {
		if s.seen {
			last = append(last, s)
		}
	}
	if len(last) < 2 {
		return Condition{}, false
	}
	last = last[len(last)-2:]
	a, b := last[0].late, last[1].late
	if a.Abs() <= drift+blur || b.Abs() <= drift+blur || (a > 0) != (b > 0) {
		return Condition{}, false
	}
	way := "late"
	if b < 0 {
		way = "early"
	}
	return Condition{
		Kind: SwitchingDrift, Bin: bin.Name, Since: last[0].due,
		Says: fmt.Sprintf("The lamp of bin %s switches %.0f minutes %s.", bin.Name, b.Abs().Minutes(), way),
	}, true
}
