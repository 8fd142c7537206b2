package light

import (
	"context"
	"slices"
	"sort"
	"time"
)

// Mark says how a reading came by its time and what is known against it.
type Mark uint8

// Marks combine. A reading without any mark carries the time of its arrival.
const (
	OwnTime  Mark = 1 << iota // the time is the sensor's own
	Untimed                   // came without a time of its own, in a backlog or where one was due: kept, never integrated
	Stale                     // a broker's retained value, delivered on subscribing: kept, never integrated
	Conflict                  // another value of the same sensor and time was stored before it
)

// Usable tells whether a reading with these marks may enter a figure.
func (m Mark) Usable() bool { return m&(Untimed|Stale|Conflict) == 0 }

// Reading is one raw value of one sensor, as it came: never scaled, never
// changed afterwards.
type Reading struct {
	Sensor  string
	At      time.Time // the sensor's own time, else the time of arrival
	Value   float64   // raw; finite
	Mark    Mark
	Arrived time.Time     // by the system clock, whole seconds
	Boot    uint32        // counts starts of the process that took it in
	Uptime  time.Duration // monotonic since that start, whole seconds
}

// MostAhead is how far a reading's time may lie ahead of the clock: clocks are a
// little apart.
const MostAhead = 5 * time.Minute

// Ahead tells whether a time lies further ahead of the clock than a reading's may.
func Ahead(at, now time.Time) bool { return at.After(now.Add(MostAhead)) }

// Series holds readings of one sensor in columns, ordered by time.
type Series struct {
	Times  []int64 // Unix time in nanoseconds
	Values []float64
	Marks  []Mark // nil where no reading has a mark other than OwnTime
}

// Len counts the readings.
func (s *Series) Len() int { return len(s.Times) }

// Reset empties the series and keeps its memory.
func (s *Series) Reset() {
	s.Times, s.Values, s.Marks = s.Times[:0], s.Values[:0], nil
}

// Add appends a reading; keep the order with Sort.
func (s *Series) Add(at time.Time, value float64, mark Mark) {
	if mark&^OwnTime != 0 && s.Marks == nil {
		s.Marks = make([]Mark, len(s.Times), cap(s.Times))
	}
	s.Times = append(s.Times, at.UnixNano())
	s.Values = append(s.Values, value)
	if s.Marks != nil {
		s.Marks = append(s.Marks, mark)
	}
}

// Sort orders the series by time; readings of one time keep their order.
func (s *Series) Sort() {
	if slices.IsSorted(s.Times) {
		return
	}
	sort.Stable(byTime{s})
}

type byTime struct{ *Series }

func (b byTime) Less(i, j int) bool { return b.Times[i] < b.Times[j] }

func (b byTime) Swap(i, j int) {
	b.Times[i], b.Times[j] = b.Times[j], b.Times[i]
	b.Values[i], b.Values[j] = b.Values[j], b.Values[i]
	if b.Marks != nil {
		b.Marks[i], b.Marks[j] = b.Marks[j], b.Marks[i]
	}
}

// Source is a consistent view of stored readings and of the trial's log. Its
// methods may be called from several goroutines at once.
type Source interface {
	// Sensors names every sensor that has readings, in bytewise order.
	Sensors() ([]string, error)
	// Series appends to dst the readings of the sensor in the span, ordered by
	// time. An unknown sensor has none.
	Series(ctx context.Context, sensor string, during Span, dst *Series) error
	// Events lists the whole log, ordered by id, withdrawn entries included.
	Events(ctx context.Context) ([]Event, error)
}

// Memory is a Source over readings held in memory.
type Memory struct {
	Readings map[string]*Series
	Log      []Event
}

// Sensors names the sensors in bytewise order.
func (m *Memory) Sensors() ([]string, error) {
	names := make([]string, 0, len(m.Readings))
	for name := range m.Readings {
		names = append(names, name)
	}
	slices.Sort(names)
	return names, nil
}

// Series appends the readings of the span.
func (m *Memory) Series(_ context.Context, sensor string, during Span, dst *Series) error {
	all := m.Readings[sensor]
	if all == nil {
		return nil
	}
	first, last := 0, len(all.Times)
	if !during.From.IsZero() {
		first, _ = slices.BinarySearch(all.Times, during.From.UnixNano())
	}
	if !during.Until.IsZero() {
		last, _ = slices.BinarySearch(all.Times, during.Until.UnixNano())
	}
	if first >= last {
		return nil
	}
	if all.Marks != nil && dst.Marks == nil {
		dst.Marks = make([]Mark, len(dst.Times))
	}
	if dst.Marks != nil {
		if all.Marks != nil {
			dst.Marks = append(dst.Marks, all.Marks[first:last]...)
		} else {
			dst.Marks = append(dst.Marks, make([]Mark, last-first)...)
		}
	}
	dst.Times = append(dst.Times, all.Times[first:last]...)
	dst.Values = append(dst.Values, all.Values[first:last]...)
	return nil
}

// Events lists the log.
func (m *Memory) Events(context.Context) ([]Event, error) { return m.Log, nil }
