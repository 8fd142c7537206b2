package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/ingest"
	"parstead/light/watch"
)

// The conditions that the daemon itself can be in; the others are the watch's.
const (
	conditionClock = "clock" // the system clock can't be trusted
	conditionDisk  = "disk"  // too little room, or readings can't be kept
	conditionFiles = "files" // the trial's files have an error; the old ones are in force
)

const (
	diskFloor  = 256 << 20 // bytes that must stay free
	clockShown = time.Hour // how long a step of the clock is shown
)

// alarms are the conditions that hold, and what was said of them where.
type alarms struct {
	mu       sync.Mutex
	watch    *watch.Watch
	holding  []page.Condition
	files    *page.Condition // set by adoptChanges
	step     *ingest.Step
	retained map[string]page.Condition // topic: what stands there
}

func (a *alarms) init(d *daemon) {
	a.watch = watch.New(&d.trial.Load().Rack)
	a.retained = map[string]page.Condition{}
}

// list is the conditions that hold, gravest first.
func (a *alarms) list() []page.Condition {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.holding)
}

func (a *alarms) clockStepped(s ingest.Step) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.step = &s
}

// filesAre sets or, with nil, ends the condition of the trial's files.
func (a *alarms) filesAre(c *page.Condition) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.files = c
}

// renew begins with new baselines, for a trial whose files have changed.
func (a *alarms) renew(w *watch.Watch) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.watch = w
}

// look finds what is wrong now and says what is new of it.
func (a *alarms) look(ctx context.Context, d *daemon, now time.Time) {
	found, err := a.find(ctx, d, now)
	if err != nil {
		if ctx.Err() == nil {
			d.log.Error("conditions not judged", "error", err)
		}
		return
	}
	a.mu.Lock()
	before := a.holding
	a.holding = found
	a.mu.Unlock()

	trial := d.trial.Load().Name
	for _, c := range found {
		m := message(trial, c, nil)
		i := slices.IndexFunc(before, func(b page.Condition) bool { return sameCause(b, c) })
		if i < 0 {
			d.log.Warn("condition", "condition", c.Condition, "bin", c.Bin, "sensor", c.Sensor, "says", c.Says)
			if d.teller != nil {
				d.teller.Tell(m)
			}
		}
		a.retain(d, m, c)
	}
	for _, c := range before {
		if slices.ContainsFunc(found, func(f page.Condition) bool { return sameCause(f, c) }) {
			continue
		}
		m := message(trial, c, &now)
		d.log.Info("condition over", "condition", c.Condition, "bin", c.Bin, "sensor", c.Sensor)
		if d.teller != nil {
			d.teller.Tell(m)
		}
		a.retain(d, m, c)
	}
}

func sameCause(a, b page.Condition) bool {
	return a.Condition == b.Condition && a.Bin == b.Bin && a.Sensor == b.Sensor
}

func message(trial string, c page.Condition, until *time.Time) tell.Message {
	return tell.Message{
		Trial: trial, Condition: c.Condition, Bin: c.Bin, Sensor: c.Sensor,
		Since: c.Since.UTC(), Until: until, Says: c.Says, Do: c.Do,
	}
}

// retain publishes the message at its topic once; what could not be published
// is tried again at the next look.
func (a *alarms) retain(d *daemon, m tell.Message, c page.Condition) {
	topic := m.Topic()
	a.mu.Lock()
	last, there := a.retained[topic]
	a.mu.Unlock()
	if over := m.Until != nil; (!over && there && last == c) || (over && !there) {
		return
	}
	payload, err := json.Marshal(m)
	if err == nil {
		err = d.source.Publish(topic, payload)
	}
	if err != nil {
		d.log.Warn("condition not published", "topic", topic, "error", err)
		return
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	if m.Until != nil {
		delete(a.retained, topic)
		return
	}
	a.retained[topic] = c
}

func (a *alarms) find(ctx context.Context, d *daemon, now time.Time) ([]page.Condition, error) {
	var found []page.Condition
	a.mu.Lock()
	w, files, step := a.watch, a.files, a.step
	a.mu.Unlock()
	if c, ok := diskIs(d, now); ok {
		found = append(found, c)
	}
	if files != nil {
		found = append(found, *files)
	}
	if step != nil && now.Sub(step.At) < clockShown {
		found = append(found, page.Condition{
			Condition: conditionClock, Since: step.At,
			Says: fmt.Sprintf("The system clock was set by %s.", step.By.Round(time.Second)),
			Do:   "Readings that came before are dated anew. See that the machine gets its time from the network or has a clock with a battery.",
		})
	}
	view, err := d.db.View()
	if err != nil {
		return nil, fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	wrong, err := w.At(ctx, view, now)
	if err != nil {
		return nil, err
	}
	for _, c := range wrong {
		found = append(found, page.Condition{Condition: string(c.Name), Bin: c.Bin, Sensor: c.Sensor, Since: c.Since, Says: c.Says, Do: c.Do})
	}
	return keepSince(a.list(), found), nil
}

// keepSince leaves a condition that goes on with the moment it was first found.
func keepSince(before, found []page.Condition) []page.Condition {
	for i := range found {
		for _, b := range before {
			if sameCause(b, found[i]) && b.Since.Before(found[i].Since) {
				found[i].Since = b.Since
			}
		}
	}
	return found
}

func diskIs(d *daemon, now time.Time) (page.Condition, bool) {
	folder := d.trial.Load().Dir
	free, err := freeBytes(folder)
	if err != nil || free >= diskFloor {
		return page.Condition{}, false
	}
	where, err := filepath.Abs(folder)
	if err != nil {
		where = folder
	}
	return page.Condition{
		Condition: conditionDisk, Since: now,
		Says: fmt.Sprintf("Only %d MB are free where the trial is kept.", free>>20),
		Do:   "Make room on the disk that holds " + where + "; readings can't be kept once it is full.",
	}, true
}
