package ingest

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Timeless tells of a sensor whose newest message holds no time where its feed
// says that the reading's own time is. What it reads is stored, but not used.
type Timeless struct {
	Sensor string
	Why    string // what is wrong, with the payload, and the mend
}

// Timeless lists such sensors by name.
func (in *Intake) Timeless() []Timeless {
	in.mu.Lock()
	defer in.mu.Unlock()
	var all []Timeless
	for _, s := range in.sensors {
		switch {
		case s.timeless != "":
			all = append(all, Timeless{s.name, s.timeless})
		case s.behind && s.arrived-s.linked > behindTold:
			all = append(all, Timeless{s.name, behindSays})
		}
	}
	slices.SortFunc(all, func(a, b Timeless) int { return strings.Compare(a.Sensor, b.Sensor) })
	return all
}

// behindTold is how long a backlog may last before it is told.
const behindTold = time.Minute

const behindSays = "its messages came as fast as a broker hands over what it kept while this machine was away, so their time is not known; they count once they have a steady pace, after ten minutes at most: give `every` of the sensor as it sends"

// lack is what is wrong with a sensor's time.
type lack struct {
	clock   clock
	pointer string
	format  TimeFormat
}

// noteTime keeps whether a reading came with the time that its feed promises,
// with the first payload of a run that did not. It warns once of each sensor and
// pointer. The caller holds in.mu.
func (in *Intake) noteTime(a *arrival, d *Delivery) {
	s, f := a.sensor, &a.entry.feed
	if a.clock == goodClock {
		s.timeless, s.lacks = "", lack{}
		return
	}
	if lacks := (lack{a.clock, f.Time, f.TimeFormat}); s.lacks != lacks {
		s.timeless, s.lacks = f.timeless(a.clock, d.Payload), lacks
		if s.warned != f.Time {
			s.warned = f.Time
			in.Log.Warn("readings without the time that the sensor is said to send are stored, but not used",
				"sensor", s.name, "detail", s.timeless, "topic", d.Topic)
		}
	}
}

// clock says whether a payload held the reading's own time.
type clock uint8

const (
	goodClock   clock = iota // it did, or none is looked for
	absentClock              // nothing stands there
	unreadClock              // what stands there is no time in the feed's format
)

// clock reads the time that a payload holds for the entry, unless it has none.
func (e *entry) clock(results []result, now time.Time) (own time.Time, c clock) {
	if e.at.result < 0 {
		return own, goodClock
	}
	own, err := results[e.at.result].ownTime(e.feed.TimeFormat, clockFace{e.feed.Zone, e.sensor.passed(), now})
	switch {
	case err == nil:
		return own, goodClock
	case results[e.at.result].form == absent:
		return own, absentClock
	default:
		return own, unreadClock
	}
}

// timeless says what is wrong with the time in a payload, and the mend.
func (f *Feed) timeless(c clock, payload []byte) string {
	text := excerpt(payload)
	if c == unreadClock {
		return fmt.Sprintf("its messages carry no %s time at %s (payload %s): mend `time` or `time_format` of the sensor, or leave both out to take the time of arrival",
			cmp.Or(f.TimeFormat, timeFormats[0].name), f.Time, text)
	}
	return fmt.Sprintf("its messages carry no time at %s (payload %s): mend `time` of the sensor, or leave it out to take the time of arrival", f.Time, text)
}
