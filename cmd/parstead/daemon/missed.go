package daemon

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/phrase"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
)

// What another broker let go of while this machine was not connected to it can't be
// asked: MQTT has no word for it. It shows in the sensors that send their own time.
// Where the broker kept readings of that stretch, but of a sensor that was heard
// before and is heard again some are missing, its queue for this trial was most likely
// full. Of sensors without their own time nobody can tell.
type missed struct {
	sensors []string
	during  light.Span // from the first reading that is missing to the last
	kept    int        // readings of that stretch that came with their own time
}

const (
	judgedAfter = 5 * time.Minute // from the broker's return: by then what it kept has come, and most sensors are heard
	missedShown = 24 * time.Hour
	heardBefore = time.Hour // before the stretch: who was silent then is told as silent
	fewMissing  = 3         // readings in a row; a sensor loses one or two on its own
)

// missedBy looks for readings that are missing from a stretch without a connection.
func missedBy(ctx context.Context, source light.Source, sensors []light.Sensor, away light.Span, now time.Time) (m missed, err error) {
	for _, s := range sensors {
		var series light.Series
		if !s.During.Overlaps(away) {
			continue
		}
		if err := source.Series(ctx, s.Name, light.Span{From: away.From.Add(-heardBefore), Until: now.Add(time.Second)}, &series); err != nil {
			return m, fmt.Errorf("look for what the broker did not keep: %w", err)
		}
		hole, kept := holeIn(&series, s.Every, away)
		m.kept += kept
		if hole == (light.Span{}) {
			continue
		}
		m.sensors = append(m.sensors, s.Name)
		if m.during.From.IsZero() || hole.From.Before(m.during.From) {
			m.during.From = hole.From
		}
		if hole.Until.After(m.during.Until) {
			m.during.Until = hole.Until
		}
	}
	if m.kept == 0 { // nothing of that stretch came: the broker was not there for the sensors either
		return missed{}, nil
	}
	return m, nil
}

// holeIn is the longest stretch without a reading of the sensor's own time that
// reaches into the time away; zero where readings follow one another, and for a sensor
// that was not heard shortly before or is not heard again.
func holeIn(series *light.Series, every time.Duration, away light.Span) (hole light.Span, kept int) {
	var times []time.Time
	for i, at := range series.Times {
		if series.Marks == nil || series.Marks[i]&^light.OwnTime == 0 {
			times = append(times, time.Unix(0, at))
		}
	}
	for _, at := range times {
		if at.After(away.From) && at.Before(away.Until) {
			kept++
		}
	}
	longest := fewMissing * every
	for i := 1; i < len(times); i++ {
		from, until := times[i-1], times[i]
		if until.Sub(from) > longest+every && until.After(away.From) && from.Before(away.Until) && from.After(away.From.Add(-2*every)) {
			hole, longest = light.Span{From: from, Until: until}, until.Sub(from)
		}
	}
	return hole, kept
}

// says tells what is missing; "" for nothing.
func (m missed) says(zone *time.Location) string {
	if len(m.sensors) == 0 {
		return ""
	}
	names := m.sensors
	if len(names) > 3 {
		names = append(slices.Clone(names[:3]), fmt.Sprintf("%d more", len(names)-3))
	}
	clock := func(at time.Time) string { return at.In(zone).Format("2 January 15:04") }
	return fmt.Sprintf("the broker kept %d readings for this trial while it was not connected, but none of %s from %s to %s: most likely its queue was full",
		m.kept, phrase.List(names), clock(m.during.From), clock(m.during.Until))
}

// linkCondition tells how the daemon stands with another broker. Once a stretch
// without it can be judged, what it lacks is written into the log.
func (d *Daemon) linkCondition(now time.Time) (watch.Condition, bool) {
	if away, due := d.link.due(now); due {
		if err := d.judgeAway(away, now); err != nil {
			d.options.Log.Error("readings that the broker did not keep", "error", err)
		}
	}
	if lacks, fresh := d.link.unlogged(); fresh {
		if _, err := d.db.AddEvent(context.Background(), light.Event{Kind: light.Other, At: now, Text: lacks}); err != nil {
			d.options.Log.Error("not logged that readings are missing", "error", err)
		}
	}
	if c, ok := d.link.condition(d.source.Address(), now); ok {
		return c, true
	}
	return d.neighbours.condition(d.trial.Load())
}

// judgeAway looks for what is missing from a stretch without the broker.
func (d *Daemon) judgeAway(away light.Span, now time.Time) error {
	view, err := d.db.View()
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	t := d.trial.Load()
	m, err := missedBy(context.Background(), view, ownTimed(t), away, now)
	if says := m.says(t.Rack.Zone); err == nil && says != "" {
		d.link.lacks(says, now)
	}
	return err
}

// ownTimed are the sensors that send their own time.
func ownTimed(t *trial.Trial) (sensors []light.Sensor) {
	for _, s := range t.Rack.Sensors {
		if slices.ContainsFunc(t.Feeds, func(f ingest.Feed) bool {
			return f.Time != "" && (f.Sensor.Name == s.Name || f.Placeholder && strings.HasPrefix(s.Name, f.Sensor.Name+" "))
		}) {
			sensors = append(sensors, s)
		}
	}
	return sensors
}

// newestOf is when the newest of the readings arrived; zero for none.
func newestOf(latest map[string]light.Reading) (at time.Time) {
	for _, r := range latest {
		if r.Arrived.After(at) {
			at = r.Arrived
		}
	}
	return at
}
