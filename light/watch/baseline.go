package watch

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// A sensor's baseline is the median of what it read while its lamp was due, in
// the first seven days after the last event that changes what it reads; a day's
// worth of lit readings is the least that makes one.
const (
	baselineDays = 7
	leastLit     = 6 * time.Hour
)

func (w *Watch) baseline(ctx context.Context, src light.Source, s light.Sensor, standing []light.Event, now time.Time) (float64, error) {
	key := epoch{s.Name, w.epochStart(s, standing, now)}
	if b, ok := w.baselines[key]; ok {
		return b, nil
	}
	until := key.from.AddDate(0, 0, baselineDays)
	whole := !until.After(now)
	if !whole {
		until = now
	}
	var series light.Series
	if err := src.Series(ctx, s.Name, light.Span{From: key.from, Until: until}, &series); err != nil {
		return 0, fmt.Errorf("read %s: %w", s.Name, err)
	}
	usable := points(s, &series, standing)
	lit := inside(usable, inner(due(w.rack, s.Position.Bin, light.Span{From: key.from, Until: until}), grace))
	b := math.NaN()
	if time.Duration(len(lit))*s.Every >= leastLit {
		b = median(values(lit))
	}
	if whole {
		w.baselines[key] = b
	}
	return b, nil
}

// epochStart is when the sensor last began to read something else: the trial's
// start, its own stretch, its bin's lamp block, or a logged event.
func (w *Watch) epochStart(s light.Sensor, standing []light.Event, now time.Time) time.Time {
	start := w.rack.Trial().From
	later := func(t time.Time) {
		if t.After(start) && !t.After(now) {
			start = t
		}
	}
	later(s.During.From)
	if bin, ok := w.rack.Bin(s.Position.Bin); ok {
		for _, l := range w.rack.Lamps {
			if slices.Contains(bin.Lamps, l.Name) {
				later(l.During.From)
			}
		}
	}
	for _, e := range standing {
		if e.Kind.ChangesLight() && (e.Bin == "" || e.Bin == s.Position.Bin) && (e.Sensor == "" || e.Sensor == s.Name) {
			later(e.At)
		}
	}
	return start
}

func values(ps []point) []float64 {
	v := make([]float64, len(ps))
	for i, p := range ps {
		v[i] = p.value
	}
	return v
}

// inside keeps the points that lie in the spans; both are ordered by time.
func inside(ps []point, spans []light.Span) []point {
	var in []point
	i := 0
	for _, p := range ps {
		for i < len(spans) && !p.at().Before(spans[i].Until) {
			i++
		}
		if i < len(spans) && spans[i].Holds(p.at()) {
			in = append(in, p)
		}
	}
	return in
}
