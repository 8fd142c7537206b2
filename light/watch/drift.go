package watch

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// What a sensor's own scatter shows. Plateaus of a steady lamp repeat from day to
// day to a fraction of a per cent, so that a change is told long before it is large.
const (
	firstDays = 7     // with a plateau, at an epoch's beginning: what the sensor read then
	lastDays  = 7     // what it reads now
	stepDays  = 2     // what it reads since yesterday
	driftBy   = 0.025 // natural logarithm: a slow change against the others is at least this,
	stepBy    = 0.05  // and a step at least this
	scatters  = 5     // times the scatter that the days have shown
	history   = 10    // days that show what a lone sensor's steps are like
	stepTimes = 3     // a lone sensor's doubtful step is so many times the largest before
)

// plateauDay names a sensor's light day.
type plateauDay struct {
	sensor string
	date   light.Date
}

// dailyPlateau is the median of what a light sensor read on a finished light day
// while its lamp was due; NaN where it covered less than half of those hours.
func (w *Watch) dailyPlateau(ctx context.Context, src light.Source, s light.Sensor, standing []light.Event, d light.Date) (float64, error) {
	key := plateauDay{s.Name, d}
	if p, ok := w.plateaus[key]; ok {
		return p, nil
	}
	span := w.rack.Day(d)
	lit := inner(due(w.rack, s.Position.Bin, span), grace)
	var series light.Series
	if err := src.Series(ctx, s.Name, span, &series); err != nil {
		return 0, fmt.Errorf("read %s: %w", s.Name, err)
	}
	hours := time.Duration(0)
	for _, l := range lit {
		hours += l.Length()
	}
	read := values(inside(points(s, &series, standing), lit))
	p := math.NaN()
	if n := len(read); n > 0 && 2*float64(n)*s.Every.Seconds() >= hours.Seconds() {
		if m := median(read); m >= s.Measures.LampIsOut() {
			p = m
		}
	}
	w.plateaus[key] = p
	return p, nil
}

// Course is how bright a sensor's days were under lamps that nobody touched: the
// logarithms of daily plateaus, NaN where it has none.
type Course struct {
	Sensor, Bin string
	Logs        []float64
}

// believed are the bin's light sensors that are heard and not stuck.
func (l *look) believed(bin light.Bin) (sensors []light.Sensor) {
	for _, s := range l.sensors {
		if s.Position.Bin == bin.Name && s.Measures.IsLight() && !s.quiet && !s.stuck {
			sensors = append(sensors, s.Sensor)
		}
	}
	return sensors
}

// courses are those of a bin's sensors since the last event that changed
// what any of them reads, up to the last finished day.
func (w *Watch) courses(ctx context.Context, src light.Source, sensors []light.Sensor, standing []light.Event, now time.Time) ([]Course, light.Date, error) {
	from := w.rack.Starts
	for _, s := range sensors {
		start := w.epochStart(s, standing, now)
		first := w.rack.DateAt(start)
		if w.rack.Day(first).From.Before(start) {
			first = first.Add(1)
		}
		from = light.Later(from, first)
	}
	var all []Course
	for _, s := range sensors {
		c := Course{Sensor: s.Name, Bin: s.Position.Bin}
		for d := from; d.Before(w.rack.DateAt(now)); d = d.Add(1) {
			p, err := w.dailyPlateau(ctx, src, s, standing, d)
			if err != nil {
				return nil, from, err
			}
			c.Logs = append(c.Logs, math.Log(p))
		}
		all = append(all, c)
	}
	return all, from, nil
}

// drifts are what a bin's sensors have done since the last event that changed what
// they read.
func (w *Watch) drifts(ctx context.Context, src light.Source, sensors []light.Sensor, standing []light.Event, now time.Time) ([]Condition, error) {
	all, from, err := w.courses(ctx, src, sensors, standing, now)
	if err != nil {
		return nil, err
	}
	return Drifts(all, func(d int) time.Time { return w.rack.Day(from.Add(d)).From }), nil
}

// Drifts finds a sensor that changes slowly, or by a step, against the bin's other
// sensors; and of a lone one a step of its plateau beyond all that it did before,
// of which nobody can say whether it is the sensor's or the lamp's. The courses are a
// bin's, of the same days, whose beginnings begins gives.
func Drifts(all []Course, begins func(day int) time.Time) []Condition {
	if len(all) == 1 {
		return lone(all[0], begins)
	}
	var worst change
	for i, c := range all {
		if x := changed(against(all, i)); x.beyond > worst.beyond {
			worst = x
			worst.of = c
		}
	}
	if worst.beyond == 0 {
		return nil
	}
	says := fmt.Sprintf("Sensor %s has come to read %+.0f %% against the other sensors of bin %s", worst.of.Sensor, 100*math.Expm1(worst.by), worst.of.Bin)
	if len(all) == 2 {
		says = fmt.Sprintf("Sensors %s and %s have parted by %.0f %%, and of two neither can be called the wrong one", all[0].Sensor, all[1].Sensor, 100*math.Expm1(math.Abs(worst.by)))
	}
	if !worst.step {
		says += fmt.Sprintf(", by %.1f %% a week", 100*math.Abs(worst.perWeek))
	}
	return []Condition{{
		Kind: Drifting, Bin: worst.of.Bin, Sensor: worst.of.Sensor, Since: begins(worst.day), Says: says + ".",
	}}
}

// against is the course of one sensor beside the median of the others.
func against(all []Course, i int) []float64 {
	beside := make([]float64, len(all[i].Logs))
	for d := range beside {
		var others []float64
		for k, c := range all {
			if k != i && !math.IsNaN(c.Logs[d]) {
				others = append(others, c.Logs[d])
			}
		}
		beside[d] = all[i].Logs[d] - median(others)
	}
	return beside
}

// change is a course's change between its first days and its last.
type change struct {
	of      Course
	by      float64 // natural logarithm
	perWeek float64 // the same in a week, where it is slow
	beyond  float64 // over the limit that it passes; 0 where it passes none
	step    bool
	day     int // of the course, on which it began to show
}

// changed judges a course: its scatter is that of the days' differences, which a
// slow change hardly touches.
func changed(logs []float64) change {
	var x []float64
	var at []int
	for d, v := range logs {
		if !math.IsNaN(v) {
			x, at = append(x, v), append(at, d)
		}
	}
	n := len(x)
	if n < firstDays+stepDays {
		return change{}
	}
	var steps []float64
	for i := 1; i < n; i++ {
		steps = append(steps, math.Abs(x[i]-x[i-1]))
	}
	scatter := median(steps) / 0.954 // of one day: the median of |N(0, 2s²)| is 0.954 s
	first := median(x[:firstDays])
	judge := func(days int, least float64) change {
		by := median(x[n-days:]) - first
		limit := max(least, scatters*scatter)
		if math.Abs(by) <= limit {
			return change{}
		}
		since := n - days
		for since > firstDays && math.Abs(x[since-1]-first) > limit/2 && (x[since-1] > first) == (by > 0) {
			since--
		}
		weeks := float64(at[n-1]-at[0]-(firstDays+days)/2) / 7
		return change{by: by, perWeek: by / max(weeks, 1), beyond: math.Abs(by) / limit, day: at[since]}
	}
	sudden := judge(stepDays, stepBy)
	if sudden.beyond > 0 {
		sudden.step, sudden.by = true, x[n-1]-first
	}
	if n < firstDays+lastDays {
		return sudden
	}
	slow := judge(lastDays, driftBy)
	if slow.beyond == 0 {
		return sudden
	}
	// A step is a change that most of lies between two days.
	if i := slices.Index(steps, slices.Max(steps)); steps[i] > math.Abs(slow.by)/2 {
		slow.step = true
	}
	return slow
}

// lone finds in the course of a bin's only sensor a step larger than it ever did.
func lone(c Course, begins func(day int) time.Time) []Condition {
	var x []float64
	var at []int
	for d, v := range c.Logs {
		if !math.IsNaN(v) {
			x, at = append(x, v), append(at, d)
		}
	}
	var steps []float64 // so far; the newest few may hold part of this one
	for i := stepDays; i+stepDays <= len(x); i++ {
		step := median(x[i:i+stepDays]) - median(x[max(0, i-firstDays):i])
		before := steps[:max(0, len(steps)-stepDays+1)]
		if len(before) >= history && step < -stepBy && -step > stepTimes*slices.Max(before) && !recovered(x[i:], step) {
			return []Condition{{
				Kind: Drifting, Bin: c.Bin, Sensor: c.Sensor, Since: begins(at[i]),
				Says: fmt.Sprintf("Sensor %s reads %.0f %% less from one day to the next, more than it ever changed before; alone in bin %s it can't tell whether the lamp gives less or something covers it.",
					c.Sensor, -100*math.Expm1(step+x[i+stepDays-1]-median(x[i:i+stepDays])), c.Bin),
			}}
		}
		steps = append(steps, math.Abs(step))
	}
	return nil
}

// recovered tells whether what followed on a step has come back by half of it.
func recovered(after []float64, step float64) bool {
	n := len(after)
	return median(after[max(0, n-stepDays):])-median(after[:stepDays]) > -step/2
}
