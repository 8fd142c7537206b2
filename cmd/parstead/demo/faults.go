package demo

import (
	"context"
	"time"

	"parstead/light"
	"parstead/light/watch"
)

// Fault is one that was planted, with the condition that should tell of it.
type Fault struct {
	Planted   string
	Condition watch.Kind
	Bin       string // "" where it concerns the whole rack
	From      time.Time
	Found     time.Time // zero if it was not
}

// faults lists what goes wrong in a way that readings show.
func (w *World) faults() []Fault {
	s := &w.season
	if w.Quiet {
		return nil
	}
	return []Fault{
		{Planted: "sensor stuck", Condition: watch.Flat, Bin: s.stuckBin, From: s.stuck.From},
		{Planted: "lamp out for 31 h", Condition: watch.DarkWhenDue, Bin: s.outageBin, From: s.outage.From},
		{Planted: "power cut of 9 h", Condition: watch.Silent, From: s.cut.From},
		{Planted: "timer drifts 47 min", Condition: watch.SwitchingDrift, Bin: s.driftBin, From: w.clock(s.drift[0], 7, 0)},
		{Planted: "no flood for 3 days", Condition: watch.FloodMissed, Bin: "middle-left", From: w.clock(w.dayNumber(s.missed.From), 8, 0)},
		{Planted: "31 °C over noon", Condition: watch.Hot, From: w.clock(s.hot, 11, 0)},
	}
}

// Alarm is a condition when it was first raised.
type Alarm struct {
	At time.Time
	watch.Condition
}

// Faults looks at the season's readings as the daemon does, at every interval,
// and tells which of the planted faults it found and when, and every alarm that
// was raised. A condition that was gone for a day counts as a new alarm.
func (w *World) Faults(ctx context.Context, src light.Source, interval time.Duration) ([]Fault, []Alarm, error) {
	eye := watch.New(&w.Rack)
	faults := w.faults()
	var alarms []Alarm
	last := map[watch.Cause]time.Time{}
	for now := w.start.Add(interval); now.Before(w.Rack.Trial().Until); now = now.Add(interval) {
		conditions, err := eye.At(ctx, src, now)
		if err != nil {
			return nil, nil, err
		}
		for _, c := range conditions {
			k := c.Cause()
			if seen, ok := last[k]; !ok || now.Sub(seen) > 24*time.Hour {
				alarms = append(alarms, Alarm{now, c})
			}
			last[k] = now
			for i := range faults {
				f := &faults[i]
				if f.Found.IsZero() && f.Condition == c.Kind && !now.Before(f.From) && (f.Bin == "" || f.Bin == c.Bin) {
					f.Found = now
				}
			}
		}
	}
	return faults, alarms, nil
}
