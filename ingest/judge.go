package ingest

import (
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
	last   prometheus.Gauge

	// Guarded by Intake.mu.
	link    uint64        // connection of the last delivery
	linked  time.Duration // uptime of that connection's first one
	behind  bool          // the broker still delivers this sensor's backlog
	burst   bool          // the publisher still sends what it had queued
	arrived time.Duration // uptime of the last delivery
	latest  light.Reading // newest usable one

	timeless string // why its time is missing; "" where the newest message is well
	lacks    lack
	warned   string // pointer to the time of which the log has warned
}

// arrival is one reading between its decoding and its commit.
type arrival struct {
	reading light.Reading
	sensor  *sensor
	entry   *entry
	waits   bool // a publisher waits for it and would send it again
	clock   clock
}

// backlog tells whether a delivery belongs to what was queued while its
// connection was missing. Nothing in it says so, so its pace has to: a backlog
// comes faster than life.
//
//   - After our session with a broker was away for longer than half a sensor's
//     interval, its deliveries are backlog until two of them come at least half an
//     interval apart.
//   - When a publisher has just connected to the embedded broker, what follows its
//     first reading of a sensor without a pause is what it had queued. The first
//     counts: a sensor that wakes, sends and sleeps sends no other.
//   - What is marked as sent a second time is backlog at any time.
func (s *sensor) backlog(d *Delivery, every, uptime time.Duration) bool {
	pause := uptime - s.arrived
	s.arrived = uptime
	switch {
	case d.Link != s.link:
		s.link, s.linked = d.Link, uptime
		s.behind = d.Away > every/2
		s.burst = d.Direct
		return s.behind || d.Again
	case s.behind:
		s.behind = pause < every/2
	case s.burst:
		s.burst = pause < min(every/20, burstPause) && uptime-s.linked < burstTime
	}
	return s.behind || s.burst || d.Again
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
