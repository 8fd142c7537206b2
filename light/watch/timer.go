package watch

import (
	"math"
	"slices"
	"time"

	"parstead/light"
)

// due lists when any of the bin's lamps should be lit by its timer.
func due(rack *light.Rack, bin string, during light.Span) []light.Span {
	b, ok := rack.Bin(bin)
	if !ok {
		return nil
	}
	if slices.ContainsFunc(rack.Lamps, func(l light.Lamp) bool { return l.Daylight && slices.Contains(b.Lamps, l.Name) }) {
		return nil // no timer switches the sun
	}
	return rack.Lit(b, during)
}

// around is the window with a day on either side, so that no edge of it passes
// for a switching time.
func (l *look) around() light.Span {
	return light.Span{From: l.now.Add(-window - 24*time.Hour), Until: l.now.Add(24 * time.Hour)}
}

// due lists when the bin's lamps should be lit around the window.
func (l *look) due(bin string) []light.Span { return due(l.rack, bin, l.around()) }

// inner shortens each span by the margin at both ends.
func inner(spans []light.Span, margin time.Duration) []light.Span {
	var in []light.Span
	for _, s := range spans {
		s.From, s.Until = s.From.Add(margin), s.Until.Add(-margin)
		if s.From.Before(s.Until) {
			in = append(in, s)
		}
	}
	return in
}

// between lists the gaps between the spans inside the whole.
func between(spans []light.Span, whole light.Span) []light.Span {
	var gaps []light.Span
	from := whole.From
	for _, s := range spans {
		if from.Before(s.From) {
			gaps = append(gaps, light.Span{From: from, Until: s.From})
		}
		from = s.Until
	}
	if from.Before(whole.Until) {
		gaps = append(gaps, light.Span{From: from, Until: whole.Until})
	}
	return gaps
}

// switching is one switching time of the timer with what the sensors saw of it.
type switching struct {
	due  time.Time
	on   bool
	late time.Duration // seen less due
	seen bool
}

// reach is how far from its due time a switching is looked for.
const reach = 90 * time.Minute

// switchings finds when the bin's lamp was seen to switch around each due time
// of the window: the middle between the last reading on one side of half the
// baseline and the first on the other, in the median over the sensors.
func switchings(sensors []*sensed, lit []light.Span, now time.Time) []switching {
	var list []switching
	edge := func(at time.Time, on bool) {
		if at.After(now) {
			return
		}
		s := switching{due: at, on: on}
		var late []float64
		for _, x := range sensors {
			if d, ok := x.crossing(at, on); ok {
				late = append(late, float64(d))
			}
		}
		if m := median(late); !math.IsNaN(m) {
			s.late, s.seen = time.Duration(m), true
		}
		list = append(list, s)
	}
	for _, span := range lit {
		edge(span.From, true)
		edge(span.Until, false)
	}
	return list
}

// crossing finds the change nearest to the due time, by its lateness.
func (s *sensed) crossing(due time.Time, on bool) (late time.Duration, ok bool) {
	for i := 1; i < len(s.points); i++ {
		a, b := s.points[i-1], s.points[i]
		if b.at().Before(due.Add(-reach)) || b.at().Sub(a.at()) > s.MaxGap {
			continue
		}
		if a.at().After(due.Add(reach)) {
			break
		}
		if up := b.value >= half*s.baseline; up != on || up == (a.value >= half*s.baseline) {
			continue
		}
		d := a.at().Add(b.at().Sub(a.at()) / 2).Sub(due)
		if !ok || d.Abs() < late.Abs() {
			late, ok = d, true
		}
	}
	return late, ok
}

// shifted moves each expected span by how late its edges were last seen to be,
// so that a drifting timer is not taken for a failed lamp too.
func shifted(lit []light.Span, seen []switching) []light.Span {
	var on, off time.Duration
	for _, s := range seen {
		switch {
		case s.seen && s.on:
			on = s.late
		case s.seen:
			off = s.late
		}
	}
	moved := make([]light.Span, 0, len(lit))
	for _, s := range lit {
		s.From, s.Until = s.From.Add(on), s.Until.Add(off)
		if s.From.Before(s.Until) {
			moved = append(moved, s)
		}
	}
	return moved
}
