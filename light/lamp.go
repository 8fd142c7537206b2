package light

import (
	"slices"
	"time"
)

// Lamp is a lamp with its timer over one stretch of time. Several of one name
// follow one another (a new timer, a new lamp) and never overlap.
type Lamp struct {
	Name       string
	LuxPerPPFD LuxPerPPFD // 0 where neither factor, spectrum nor illuminant is given
	Daylight   bool       // its light is a daylight illuminant's: the sun's, by whatever name
	Watts      float64
	On, Off    []TimeOfDay // as many of each; a pair may cross midnight
	During     Span
}

// Narrow tells whether a factor is one of light in narrow bands, such as red and blue
// diodes: daylight has 54, lamps that are white to the eye 55 to 85 (common practice,
// no source).
func (f LuxPerPPFD) Narrow() bool { return f > 0 && (f < 40 || f > 110) }

// Lit lists the stretches of the span in which the lamp's timer has it on,
// in order and merged. The span must be closed.
func (l Lamp) Lit(during Span, zone *time.Location) []Span {
	during, ok := during.Within(l.During)
	if !ok {
		return nil
	}
	var lit []Span
	first := DateOf(during.From.In(zone)).Add(-1)
	last := DateOf(during.Until.In(zone))
	for d := first; !last.Before(d); d = d.Add(1) {
		for i := range l.On {
			on, off := l.On[i].On(d, zone), l.Off[i].On(d, zone)
			if l.Off[i] <= l.On[i] { // crosses midnight; equal times: always on
				off = l.Off[i].On(d.Add(1), zone)
			}
			if part, ok := (Span{on, off}).Within(during); ok {
				lit = append(lit, part)
			}
		}
	}
	return Merge(lit)
}

// Merge sorts closed spans and joins those that touch or overlap. It reuses
// the slice.
func Merge(spans []Span) []Span {
	slices.SortFunc(spans, func(a, b Span) int { return a.From.Compare(b.From) })
	merged := spans[:0]
	for _, s := range spans {
		if n := len(merged); n > 0 && !s.From.After(merged[n-1].Until) {
			if s.Until.After(merged[n-1].Until) {
				merged[n-1].Until = s.Until
			}
			continue
		}
		merged = append(merged, s)
	}
	return merged
}
