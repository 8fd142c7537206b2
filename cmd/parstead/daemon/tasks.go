package daemon

import (
	"fmt"
	"slices"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// mapEpoch is a bin's stretch between two events that change how its light is
// spread, and the survey that its light map rests on. The zero times: nothing
// has changed yet, and nobody has surveyed since.
type mapEpoch struct {
	began  light.Date
	walked light.Date
}

// mapOf is the epoch that the moment lies in, by the rules of the light account.
func mapOf(t *trial.Trial, standing []light.Event, bin string, now time.Time) mapEpoch {
	var began, walked time.Time
	for _, e := range standing {
		if e.Kind.EndsMap() && concerns(t, e, bin) && e.At.After(began) && !e.At.After(now) {
			began = e.At
		}
	}
	for _, r := range t.Rack.Survey {
		if r.Position.Bin == bin && !r.At.Before(began) && !r.At.After(now) && (walked.IsZero() || r.At.Before(walked)) {
			walked = r.At
		}
	}
	var m mapEpoch
	if !began.IsZero() {
		m.began = light.DateOf(began.In(t.Rack.Zone))
	}
	if !walked.IsZero() {
		m.walked = light.DateOf(walked.In(t.Rack.Zone))
	}
	return m
}

// concerns tells whether an event is about the light of a bin: one that names a
// sensor is about that sensor's bin alone.
func concerns(t *trial.Trial, e light.Event, bin string) bool {
	if e.Sensor == "" {
		return e.Bin == "" || e.Bin == bin
	}
	return slices.ContainsFunc(t.Rack.Sensors, func(s light.Sensor) bool {
		return s.Name == e.Sensor && s.Position.Bin == bin && s.Measures.IsLight()
	})
}

// String says which light map is in use.
func (m mapEpoch) String() string {
	switch {
	case !m.walked.IsZero():
		return fmt.Sprintf("light map surveyed on %s", m.walked)
	case !m.began.IsZero():
		return fmt.Sprintf("no light map since %s, when the light was changed", m.began)
	default:
		return "no light map: not surveyed yet"
	}
}

// tasks says what the trial waits for from the grower.
func tasks(t *trial.Trial, standing []light.Event, now time.Time) []string {
	var list []string
	if !t.Dealt && len(t.Plants) > 0 {
		list = append(list, "Deal the plants to their places: parstead layout.")
	}
	for _, b := range t.Rack.Bins {
		switch m := mapOf(t, standing, b.Name, now); {
		case !m.walked.IsZero():
		case m.began.IsZero():
			list = append(list, fmt.Sprintf("Survey bin %s with the meter: without a light map its positions can't be told apart.", b.Name))
		default:
			list = append(list, fmt.Sprintf("Survey bin %s again: its light map ended on %s.", b.Name, m.began))
		}
	}
	if left := t.Rack.DateAt(now).DaysUntil(t.Rack.Ends); left >= 0 && left <= 7 {
		list = append(list, fmt.Sprintf("Harvest on %s: print the sheet, weigh, count, note what is lost.", t.Rack.Ends))
	}
	return list
}
