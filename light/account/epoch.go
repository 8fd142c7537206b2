package account

import (
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

// MapEpoch is a bin's stretch between two events that change how its light is
// spread, and the survey that its light map rests on. The zero dates: nothing has
// changed yet, and nobody has surveyed since.
type MapEpoch struct {
	Began  light.Date
	Walked light.Date
}

// EpochAt is the epoch of a bin's light map that the moment lies in, out of the
// events of the log that stand.
func EpochAt(rack *light.Rack, standing []light.Event, bin string, now time.Time) MapEpoch {
	var began, walked time.Time
	for _, e := range standing {
		if e.Kind.EndsMap() && Concerns(rack, e, bin) && e.At.After(began) && !e.At.After(now) {
			began = e.At
		}
	}
	for _, r := range rack.Survey {
		if r.Position.Bin == bin && !r.At.Before(began) && !r.At.After(now) && (walked.IsZero() || r.At.Before(walked)) {
			walked = r.At
		}
	}
	var m MapEpoch
	if !began.IsZero() {
		m.Began = light.DateOf(began.In(rack.Zone))
	}
	if !walked.IsZero() {
		m.Walked = light.DateOf(walked.In(rack.Zone))
	}
	return m
}

// Concerns tells whether an event is about the light of a bin: one that names a
// sensor is about that sensor's bin alone.
func Concerns(rack *light.Rack, e light.Event, bin string) bool {
	if e.Sensor == "" {
		return e.Bin == "" || e.Bin == bin
	}
	return slices.ContainsFunc(rack.Sensors, func(s light.Sensor) bool {
		return s.Name == e.Sensor && s.Position.Bin == bin && s.Measures.IsLight()
	})
}

// String says which light map is in use.
func (m MapEpoch) String() string {
	switch {
	case !m.Walked.IsZero():
		return fmt.Sprintf("light map surveyed on %s", m.Walked)
	case !m.Began.IsZero():
		return fmt.Sprintf("no light map since %s, when the light was changed", m.Began)
	default:
		return "no light map: not surveyed yet"
	}
}
