package account

import (
	"context"
	"fmt"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/field"
)

// Surveyed is what the surveys' rows look like beside one another and beside the
// bins' sensors.
type Surveyed struct {
	Doubts    []field.Doubt
	Residuals []field.Residual // by bin, then time
}

// Surveyed judges the surveys of the whole trial. It reads what the sensors showed
// meanwhile, and nothing more.
func (a *Account) Surveyed(ctx context.Context) (*Surveyed, error) {
	f := New(a.rack, a.src, Options{}).frame(a.rack.Starts, a.rack.Ends, nil)
	events, err := a.src.Events(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	standing := light.Standing(events)
	w := new(Surveyed)
	for _, of := range a.rack.Bins {
		b, err := a.bin(ctx, of, standing, f)
		if err != nil {
			return nil, err
		}
		w.add(b)
	}
	return w, nil
}

func (w *Surveyed) add(b *bin) {
	w.Doubts = append(w.Doubts, b.doubts...)
	for _, m := range b.maps {
		w.Doubts, w.Residuals = append(w.Doubts, m.Doubts...), append(w.Residuals, m.Residuals...)
	}
}

// timerSlack is by how much a timer's or a walker's clock may be off.
const timerSlack = 10 * time.Minute

// undated tells whether a row is dated after now, unless that is zero.
func undated(r light.SurveyReading, now time.Time) bool { return !now.IsZero() && r.At.After(now) }

// unlit tells whether a row shows light while the timers have all the bin's lamps off.
func (b *bin) unlit(r light.SurveyReading) bool {
	timed := slices.ContainsFunc(b.lamps, func(l light.Lamp) bool { return len(l.On) > 0 })
	around := light.Span{From: r.At.Add(-timerSlack), Until: r.At.Add(timerSlack)}
	return timed && !b.sun.Sun && r.Value > 0 && len(b.rack.Lit(b.Bin, around)) == 0
}

// doubtTimes notes rows whose time can't be right, together where there are several.
func (b *bin) doubtTimes(undated, unlit []light.SurveyReading) {
	say := func(rows []light.SurveyReading, what, mend string) {
		if len(rows) == 0 {
			return
		}
		which := "this row is"
		if n := len(rows); n > 1 {
			which = fmt.Sprintf("this row and %d more until line %d are", n-1, rows[n-1].Row.Line)
		}
		b.doubts = append(b.doubts, field.Doubt{
			Line: rows[0].Row, Mend: mend,
			Says: fmt.Sprintf("%s dated %s and after, %s", which, rows[0].At.In(b.rack.Zone).Format("2006-01-02 15:04"), what),
		})
	}
	say(undated, "which has not come yet, and left out", "correct the dates")
	say(unlit, "when the timer has the lamps of bin "+b.Name+" off, and show light", "correct the times, or the lamp's on and off")
}
