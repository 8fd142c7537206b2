package watch

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/field"
)

// walkedSensor names what a sensor showed beside so many rows of its bin's survey.
type walkedSensor struct {
	epoch
	rows int
}

// walked finds sensors that have changed beside the meter since the bin was first
// walked under lamps as they are now.
func (w *Watch) walked(ctx context.Context, src light.Source, sensors []light.Sensor, bin light.Bin, standing []light.Event, now time.Time) ([]Condition, error) {
	var found []Condition
	for _, s := range sensors {
		start := w.epochStart(s, standing, now)
		var rows []light.SurveyReading
		for _, r := range w.rack.Survey {
			if r.Position.Bin == bin.Name && !r.At.Before(start) && !r.At.After(now) && s.During.Holds(r.At) {
				rows = append(rows, r)
			}
		}
		key := walkedSensor{epoch{s.Name, start}, len(rows)}
		d, known := w.walks[key]
		if !known && len(rows) > 0 {
			beside, err := w.beside(ctx, src, s, rows, standing)
			if err != nil {
				return nil, err
			}
			if drift, ok := field.Drifted(bin, beside); ok {
				d = &drift
			}
			w.walks[key] = d
		}
		if d == nil {
			continue
		}
		found = append(found, Condition{
			Kind: Drifting, Bin: bin.Name, Sensor: s.Name, Since: d.Until,
			Says: fmt.Sprintf("Beside the meter, sensor %s reads %+.0f %% since the walk of %s, %+.1f %% a week: it or the meter has drifted.",
				s.Name, 100*math.Expm1(d.By), light.DateOf(d.Since.In(w.rack.Zone)), 100*d.Weekly()),
		})
	}
	return found, nil
}

// beside are the rows of a survey with what one sensor read meanwhile; those at which
// it did not read are left out. The scale of either cancels.
func (w *Watch) beside(ctx context.Context, src light.Source, s light.Sensor, rows []light.SurveyReading, standing []light.Event) ([]field.Reading, error) {
	var readings []field.Reading
	var around []point // of the walk that the row is in
	var until time.Time
	for _, r := range rows {
		if r.At.After(until) {
			span := light.Span{From: r.At.Add(-s.MaxGap), Until: r.At.Add(s.MaxGap + time.Hour)}
			var series light.Series
			if err := src.Series(ctx, s.Name, span, &series); err != nil {
				return nil, fmt.Errorf("read %s: %w", s.Name, err)
			}
			around, until = points(s, &series, standing), r.At.Add(time.Hour)
		}
		value := valueAt(around, r.At.UnixNano(), int64(s.MaxGap))
		if math.IsNaN(value) || value < s.Measures.LampIsOut() || r.Value < r.Measures.LampIsOut() {
			continue
		}
		meter := r.Meter + " " + r.Measures.String() // a meter may have two scales
		readings = append(readings, field.Reading{At: r.At, Position: r.Position, PPFD: r.Value, Reference: value, Meter: meter, Row: r.Row})
	}
	return readings, nil
}

// valueAt is what points show at an instant, straight between the two about it; NaN
// where these lie too far apart.
func valueAt(ps []point, at, maxGap int64) float64 {
	i, found := slices.BinarySearchFunc(ps, at, func(p point, t int64) int { return cmp.Compare(p.ns, t) })
	switch {
	case found:
		return ps[i].value
	case i == 0 || i == len(ps) || ps[i].ns-ps[i-1].ns > maxGap:
		return math.NaN()
	}
	a, b := ps[i-1], ps[i]
	return a.value + (b.value-a.value)*float64(at-a.ns)/float64(b.ns-a.ns)
}
