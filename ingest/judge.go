package ingest

import (
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"parstead/light"
)

const (
	burstPause = 500 * time.Millisecond // that ends a publisher's burst
	burstTime  = 10 * time.Second       // after which it is no burst
)

// sensor is what the intake keeps of one sensor, across changes of the feeds.
type sensor struct {
	name   string
	stored prometheus.Counter
	newest atomic.Int64 // own time of those that came, Unix nanoseconds; 0 before the first

	// Guarded by Intake.mu.
	link    uint64        // connection of the last delivery
	linked  time.Duration // uptime of that connection's first one
	behind  bool          // the broker still delivers this sensor's backlog
	steady  steady        // its pace meanwhile
	usual   time.Duration // between readings, as it was learned; 0: not known
	burst   bool          // the publisher still sends what it had queued
	arrived time.Duration // uptime of the last delivery
	latest  light.Reading // newest usable one

	timeless string // why its time is missing; "" where the newest message is well
	lacks    lack
	warned   string // pointer to the time of which the log has warned
}

// pass notes that a reading of this own time came.
func (s *sensor) pass(own time.Time) {
	for at := own.UnixNano(); ; {
		newest := s.newest.Load()
		if at <= newest || s.newest.CompareAndSwap(newest, at) {
			return
		}
	}
}

// passed is the newest own time that came; zero for none, and for no sensor.
func (s *sensor) passed() time.Time {
	if s == nil || s.newest.Load() == 0 {
		return time.Time{}
	}
	return time.Unix(0, s.newest.Load())
}

// arrival is one reading between its decoding and its commit.
type arrival struct {
	reading light.Reading
	sensor  *sensor
	entry   *entry
	waits   bool // a publisher waits for it and would send it again
	clock   clock
}

// How a backlog is told from a sensor that sends faster than the trial says. A broker
// hands over what it kept as fast as it is acknowledged; a sensor has a pace.
const (
	steadyGaps    = 6                      // between readings, none twice as long as another, that make a pace
	steadyFor     = 30 * time.Second       // that they take at least
	quickest      = 500 * time.Millisecond // of a gap that counts
	shortestPause = 2 * time.Second        // that ends a backlog where the pace is known
	longestBehind = 10 * time.Minute       // after which it is no backlog, whatever the pace
)

// steady follows the gaps between a sensor's readings.
type steady struct {
	gaps [steadyGaps]time.Duration // the last ones
	came [steadyGaps]time.Time     // when the readings behind them came
	n    int                       // of them
}

// note takes the gap before a reading that comes now, and tells whether the gaps
// make a pace.
func (s *steady) note(gap time.Duration, now time.Time) (pace time.Duration, ok bool) {
	if s.n == len(s.gaps) {
		copy(s.gaps[:], s.gaps[1:])
		copy(s.came[:], s.came[1:])
		s.n--
	}
	s.gaps[s.n], s.came[s.n] = gap, now
	s.n++
	if s.n < len(s.gaps) {
		return 0, false
	}
	low, high, sum := s.gaps[0], s.gaps[0], time.Duration(0)
	for _, g := range s.gaps {
		low, high, sum = min(low, g), max(high, g), sum+g
	}
	return sum / steadyGaps, low >= quickest && high < 2*low && sum >= steadyFor
}

// backlog tells whether a delivery belongs to what was queued while its
// connection was missing. Nothing in it says so, so its pace has to: a backlog
// comes faster than life.
//
//   - After our session with a broker was away for longer than half a sensor's
//     interval, its deliveries are backlog until two of them come at least half an
//     interval apart, or have the pace of a sensor: then those that showed it were
//     none, and their time is given back.
//   - When a publisher has just connected to the embedded broker, what follows its
//     first reading of a sensor without a pause is what it had queued. The first
//     counts: a sensor that wakes, sends and sleeps sends no other.
//   - What is marked as sent a second time is backlog at any time.
func (in *Intake) backlog(s *sensor, d *Delivery, every time.Duration, moment stamp) bool {
	uptime := moment.uptime
	pause := uptime - s.arrived
	s.arrived = uptime
	switch {
	case d.Link != s.link:
		s.link, s.linked = d.Link, uptime
		s.behind = d.Away > every/2
		s.burst = d.Direct
		s.steady = steady{}
		return s.behind || d.Again
	case s.behind:
		enough := every / 2
		if s.usual > 0 {
			enough = min(enough, max(3*s.usual/4, shortestPause))
		}
		pace, steady := s.steady.note(pause, moment.now)
		if steady {
			s.usual = pace
			in.timed = append(in.timed, Timed{s.name, light.Span{From: s.steady.came[0].Truncate(time.Second), Until: moment.now}, pace})
		}
		s.behind = pause < enough && !steady && uptime-s.linked < longestBehind
	case s.burst:
		s.burst = pause < min(every/20, burstPause) && uptime-s.linked < burstTime
	default:
		if pace, steady := s.steady.note(pause, moment.now); steady {
			s.usual = pace
		}
	}
	return s.behind || s.burst || d.Again
}

// Timed tells of readings that were set aside as a backlog and were none.
type Timed struct {
	Sensor string
	During light.Span // that they arrived in
	Pace   time.Duration
}

// impossible tells whether a reading's own time can't be true.
func (in *Intake) impossible(own, now time.Time) bool {
	return light.Ahead(own, now) || own.Before(in.earliest)
}

// setAside is the reason why a stored reading will not be used, "" for none.
func (a *arrival) setAside() string {
	s := &a.entry.feed.Sensor
	_, believed := s.Believed(s.Value(a.reading.Value))
	switch {
	case a.reading.Mark&light.Stale != 0:
		return Stale
	case a.reading.Mark&light.Untimed != 0:
		return Untimed
	case a.reading.Mark&light.Conflict != 0:
		return Conflict
	case light.Saturated(a.reading.Value):
		return Saturated
	case !believed:
		return OutsideValid
	default:
		return ""
	}
}
