// Package watch says what is wrong at the rack by what its sensors read: a lamp
// that is out, a timer that drifts, a sensor that is stuck, a flood that did
// not come. It looks at stored readings only, so it finds the same in a running
// daemon, in a simulation and years later.
//
// The thresholds are this project's choice; none has a published source. Each
// is wide enough to stay quiet through a normal season and is stated where it
// is set.
package watch

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/daylight"
	"parstead/light/field"
)

const (
	window = 48 * time.Hour   // how far back a look goes: two evenings and two mornings
	grace  = 15 * time.Minute // around each switching time, and the least length of most conditions
	share  = 0.10             // of the baseline: above it a lamp counts as lit
	half   = 0.5              // of the baseline: where it counts as switching
)

// Watch holds what a rack's baselines are. It is not safe for concurrent use.
type Watch struct {
	// Finished gives the light days of a bin that are over, in order of date. It
	// may be nil: then no bin is held against its target.
	Finished func(bin string) []BinDay

	rack      *light.Rack
	baselines map[epoch]float64
	suns      daylight.Kept
	plateaus  map[plateauDay]float64
	walks     map[walkedSensor]*field.Drift // nil: it has not drifted
}

// New prepares a watch over a rack.
func New(rack *light.Rack) *Watch {
	return &Watch{rack: rack, baselines: map[epoch]float64{}, plateaus: map[plateauDay]float64{}, walks: map[walkedSensor]*field.Drift{}}
}

// At lists what is wrong at the given moment, gravest first, from the readings
// of the two days before it and each sensor's baseline. What the log mutes is
// left out. Errors are those of the source.
func (w *Watch) At(ctx context.Context, src light.Source, now time.Time) ([]Condition, error) {
	log, err := src.Events(ctx)
	if err != nil {
		return nil, fmt.Errorf("read the log: %w", err)
	}
	standing := light.Standing(log)
	l := &look{rack: w.rack, now: now, sunny: map[string]bool{}}
	for _, bin := range w.rack.Bins {
		sun, err := w.suns.Of(ctx, w.rack, src, bin, now)
		if err != nil {
			return nil, err
		}
		l.sunny[bin.Name] = sun.Sun
	}
	for _, s := range w.rack.Sensors {
		if !s.During.Holds(now) {
			continue
		}
		sensed, err := w.sense(ctx, src, s, standing, now)
		if err != nil {
			return nil, err
		}
		l.sensors = append(l.sensors, sensed)
	}
	var found []Condition
	found = append(found, l.silent()...)
	found = append(found, l.stuck()...)
	for _, bin := range w.rack.Bins {
		found = append(found, l.lamps(bin)...)
		found = append(found, l.air(bin)...)
		if w.Finished != nil {
			found = append(found, w.offTarget(bin, w.Finished(bin.Name), now)...)
		}
		if l.sunny[bin.Name] {
			continue
		}
		if found, err = w.slowly(ctx, src, l, bin, found, standing, now); err != nil {
			return nil, err
		}
	}
	found = append(found, l.floods()...)
	found = l.together(found)
	found = slices.DeleteFunc(found, func(c Condition) bool { return muted(c, standing, now) })
	for i, c := range found {
		found[i].Do = cmp.Or(c.Do, c.Kind.Do())
	}
	Sort(found)
	return found, nil
}

// slowly adds to what was found what of a bin's sensors has changed from day to day or
// from walk to walk, each told once. The meter knows whether it is the lamp.
func (w *Watch) slowly(ctx context.Context, src light.Source, l *look, bin light.Bin, found []Condition, standing []light.Event, now time.Time) ([]Condition, error) {
	sensors := l.believed(bin)
	drifting, err := w.walked(ctx, src, sensors, bin, standing, now)
	if err != nil {
		return nil, err
	}
	of := func(k Kind) func(Condition) bool {
		return func(c Condition) bool { return c.Kind == k && c.Bin == bin.Name }
	}
	switch {
	case len(drifting) > 0 && len(drifting) == len(sensors):
		found = slices.DeleteFunc(found, of(Dimmed))
	case slices.ContainsFunc(found, of(Ratio)) || slices.ContainsFunc(found, of(Dimmed)):
	case len(drifting) == 0:
		if drifting, err = w.drifts(ctx, src, sensors, standing, now); err != nil {
			return nil, err
		}
	}
	return append(found, drifting...), nil
}

// look is one moment's view of the rack.
type look struct {
	rack    *light.Rack
	now     time.Time
	sensors []sensed
	sunny   map[string]bool // bins that the sun reaches
}

// sensed is a sensor with its readings of the window, in its own unit.
type sensed struct {
	light.Sensor
	points   []point // usable and valid, ordered by time
	raw      []point // the newest readings, whatever they are
	baseline float64 // of a light sensor: its plateau early in the epoch; NaN where not known
	heard    time.Time
	apart    time.Duration // between its readings, where that is longer than its max gap; else 0
	quiet    bool          // not heard for longer than its max gap, or than two readings are apart
	stuck    bool          // set by look.stuck: not believed
}

// point is a reading; many are held at once.
type point struct {
	ns    int64 // Unix nanoseconds
	value float64
}

func (p point) at() time.Time { return time.Unix(0, p.ns) }

// epoch is a sensor's stretch between two events that change what it reads.
type epoch struct {
	sensor string
	from   time.Time
}

func (w *Watch) sense(ctx context.Context, src light.Source, s light.Sensor, standing []light.Event, now time.Time) (sensed, error) {
	out := sensed{Sensor: s, baseline: math.NaN()}
	var series light.Series
	if err := src.Series(ctx, s.Name, light.Span{From: now.Add(-window), Until: now.Add(time.Second)}, &series); err != nil {
		return out, fmt.Errorf("read %s: %w", s.Name, err)
	}
	out.raw, out.points = newest(s, &series), points(s, &series, standing)
	out.heard = out.heardBefore(w.rack.Trial().From, standing, now)
	out.apart = out.seldom()
	out.quiet = now.Sub(out.heard) > max(s.MaxGap, 2*out.apart) && !now.Before(w.rack.Trial().From)
	if s.Measures.IsLight() {
		b, err := w.baseline(ctx, src, s, standing, now)
		if err != nil {
			return out, err
		}
		out.baseline = b
	}
	return out, nil
}

// points turns a series into points of the sensor's unit: those that are usable,
// valid and not set aside by the log.
func points(s light.Sensor, series *light.Series, standing []light.Event) []point {
	usable := make([]point, 0, series.Len())
	for i, t := range series.Times {
		value, ok := s.Believed(s.Value(series.Values[i]))
		p := point{t, value}
		if !kept(s, series, i) || !ok || light.Saturated(series.Values[i]) || ignored(s, p.at(), standing) {
			continue
		}
		usable = append(usable, p)
	}
	return usable
}

// newest are the last few readings of a series as they came, oldest first.
func newest(s light.Sensor, series *light.Series) (raw []point) {
	for i := series.Len() - 1; i >= 0 && len(raw) < saturatedOf; i-- {
		if kept(s, series, i) {
			raw = append(raw, point{series.Times[i], series.Values[i]})
		}
	}
	slices.Reverse(raw)
	return raw
}

// kept tells whether a reading is the sensor's and its time can be trusted.
func kept(s light.Sensor, series *light.Series, i int) bool {
	return s.During.Holds(time.Unix(0, series.Times[i])) && (series.Marks == nil || series.Marks[i].Usable())
}

func ignored(s light.Sensor, at time.Time, standing []light.Event) bool {
	return slices.ContainsFunc(standing, func(e light.Event) bool {
		return e.Kind == light.Ignore && e.Sensor == s.Name && e.During.Holds(at)
	})
}

// heardBefore is when the sensor was last heard, or else since when it could
// have been: a daemon that has just started can't have heard it.
func (s *sensed) heardBefore(starts time.Time, standing []light.Event, now time.Time) time.Time {
	from := now.Add(-window)
	later := func(t time.Time) {
		if t.After(from) && !t.After(now) {
			from = t
		}
	}
	later(starts)
	later(s.During.From)
	if n := len(s.raw); n > 0 {
		later(s.raw[n-1].at())
	}
	for _, e := range standing {
		if e.Kind == light.Started {
			later(e.At)
		}
	}
	return from
}

// muted tells whether the log silences the condition: a mute names a bin, a
// sensor or neither, and its text may begin with a condition's name.
func muted(c Condition, standing []light.Event, now time.Time) bool {
	return slices.ContainsFunc(standing, func(e light.Event) bool {
		if e.Kind != light.Mute || !e.During.Holds(now) ||
			(e.Bin != "" && e.Bin != c.Bin) || (e.Sensor != "" && e.Sensor != c.Sensor) {
			return false
		}
		var first string
		if _, err := fmt.Sscan(e.Text, &first); err != nil {
			return true
		}
		return !Kind(first).shown() || Kind(first) == c.Kind
	})
}

// together makes one condition of what befell every bin that could show it: a
// hot room or a power cut is one cause.
func (l *look) together(found []Condition) []Condition {
	for _, k := range kinds {
		if k.shownBy == nil {
			continue
		}
		var bins []Condition
		for _, c := range found {
			if c.Kind == k.kind {
				bins = append(bins, c)
			}
		}
		if len(bins) < 2 || len(bins) < l.able(k.shownBy) {
			continue
		}
		one := bins[0]
		for _, c := range bins {
			if c.Since.Before(one.Since) {
				one = c
			}
		}
		one.Bin, one.Sensor = "", ""
		one.Says = fmt.Sprintf("All %d bins at once: %s", len(bins), one.Says)
		found = append(slices.DeleteFunc(found, func(c Condition) bool { return c.Kind == k.kind }), one)
	}
	return found
}

// able counts the bins with a sensor that can be believed and measures the like.
func (l *look) able(measures func(light.Quantity) bool) int {
	bins := map[string]bool{}
	for _, s := range l.sensors {
		if !s.quiet && !s.stuck && measures(s.Measures) {
			bins[s.Position.Bin] = true
		}
	}
	return len(bins)
}

func median(values []float64) float64 {
	if len(values) == 0 {
		return math.NaN()
	}
	s := slices.Clone(values)
	slices.Sort(s)
	m := len(s) / 2
	if len(s)%2 == 1 {
		return s[m]
	}
	return (s[m-1] + s[m]) / 2
}
