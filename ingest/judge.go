package ingest

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"parstead/light"
)

// maxAhead is how far ahead of the clock a reading's own time may lie.
const maxAhead = 5 * time.Minute

// sensor is what the intake keeps of one sensor, across changes of the feeds.
type sensor struct {
	name   string
	stored prometheus.Counter
	last   prometheus.Gauge

	// Guarded by Intake.mu.
	link     uint64        // connection of the last delivery
	behind   bool          // the connection still delivers this sensor's backlog
	arrived  time.Duration // uptime of the last delivery
	latest   light.Reading // newest usable one
	complain map[string]time.Duration
}

// arrival is one reading between its decoding and its commit.
type arrival struct {
	reading light.Reading
	sensor  *sensor
	entry   *entry
	waits   bool // a publisher waits for it and would send it again
}

// backlog tells whether this delivery belongs to what was queued while its
// connection was away. Only its order tells, not its content, so the rule is:
// after a resumed session that was away for longer than half a sensor's
// interval, each sensor's deliveries are backlog until two of them come at least
// half an interval apart, because a backlog comes faster than life. What is
// marked as sent a second time belongs to it at any time.
func (s *sensor) backlog(d *Delivery, every, uptime time.Duration) bool {
	switch {
	case d.Link != s.link:
		s.link, s.behind = d.Link, d.Away > every/2
	case s.behind && uptime-s.arrived >= every/2:
		s.behind = false
	}
	s.arrived = uptime
	return s.behind || d.Again
}

// impossible tells whether a reading's own time can't be true.
func (in *Intake) impossible(own, now time.Time) bool {
	return own.After(now.Add(maxAhead)) || own.Before(in.earliest)
}

// setAside is the reason why a stored reading will not be used, "" for none.
func (a *arrival) setAside() string {
	s := &a.entry.feed.Sensor
	value := s.Value(a.reading.Value)
	switch {
	case a.reading.Mark&light.Stale != 0:
		return Stale
	case a.reading.Mark&light.Untimed != 0:
		return Untimed
	case a.reading.Mark&light.Conflict != 0:
		return Conflict
	case light.Saturated(a.reading.Value):
		return Saturated
	case value < s.Low || value > s.High:
		return OutsideValid
	default:
		return ""
	}
}
