package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/ingest"
	"parstead/light/watch"
)

const (
	diskFloor  = 256 << 20 // bytes that must stay free
	clockShown = time.Hour // how long a step of the clock is shown
)

// alarms are the conditions that hold, and what was said of them where.
type alarms struct {
	looking sync.Mutex // one look at a time

	mu       sync.Mutex
	watch    *watch.Watch
	looked   bool // at least once, so that what holds is known
	holding  []watch.Condition
	shown    []watch.Condition // of these, what the readings showed at the last look that could be made
	files    *watch.Condition  // set by adoptChanges
	step     *ingest.Step
	retained map[string]watch.Condition // topic: what stands there
	told     []watch.Condition          // what the teller was told and not told to be over
	carried  []watch.Condition          // of these, told before the last stop and not found again yet
	judge    time.Time                  // until then what is carried may be found again
}

// settling is how long after the start a condition that was told before may
// take to show again: a sensor is called silent only after a while.
const settling = 30 * time.Minute

func (a *alarms) init(d *Daemon) {
	a.watch = watch.New(&d.trial.Load().Rack)
	a.retained = map[string]watch.Condition{}
	if d.teller == nil {
		return
	}
	for _, m := range d.teller.Told() {
		a.told = append(a.told, m.Condition)
	}
	a.carried = slices.Clone(a.told)
	a.judge = d.options.Clock.Now().Add(settling)
}

// list is the conditions that hold, gravest first.
func (a *alarms) list() []watch.Condition {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.holding)
}

// known tells whether what holds has been judged since the start.
func (a *alarms) known() bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	return a.looked
}

func (a *alarms) clockStepped(s ingest.Step) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.step = &s
}

// filesAre sets or, with nil, ends the condition of the trial's files.
func (a *alarms) filesAre(c *watch.Condition) {
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
func (a *alarms) look(ctx context.Context, d *Daemon, now time.Time) {
	a.looking.Lock()
	defer a.looking.Unlock()
	own := a.own(d, now)
	wrong, err := a.watched(ctx, d, now)
	if err != nil && ctx.Err() == nil {
		d.options.Log.Error("conditions not judged", "error", err)
	}
	if ctx.Err() != nil {
		return
	}
	a.mu.Lock()
	before := a.holding
	found := keepSince(slices.Concat(before, a.told), slices.Concat(own, wrong))
	a.holding, a.looked = found, true
	a.mu.Unlock()

	for _, c := range notIn(found, before) {
		d.options.Log.Warn("condition", "condition", c.Kind, "bin", c.Bin, "sensor", c.Sensor, "says", c.Says)
	}
	for _, c := range notIn(before, found) {
		d.options.Log.Info("condition over", "condition", c.Kind, "bin", c.Bin, "sensor", c.Sensor)
	}
	a.say(d, own, before, found, now)
	a.retain(d, found, now)
}

// say hands the teller what has changed. What the readings show is told, and its
// end too, when two looks in a row agree: of a power cut one look may see the
// first bin dark and the next one all.
func (a *alarms) say(d *Daemon, own, before, found []watch.Condition, now time.Time) {
	trial := d.trial.Load().Name
	sure := notIn(found, notIn(found, slices.Concat(own, before)))
	for _, c := range notIn(sure, a.told) {
		if !absorbed(c, found) {
			d.tell(message(trial, c, nil))
			a.told = append(a.told, c)
		}
	}
	a.carried = notIn(a.carried, found)
	a.told = slices.DeleteFunc(a.told, func(c watch.Condition) bool {
		one := []watch.Condition{c}
		switch {
		case len(notIn(one, found)) == 0, absorbed(c, found):
			return false
		case !c.Kind.Daemons() && len(notIn(one, before)) == 0:
			return false
		case now.Before(a.judge) && len(notIn(one, a.carried)) == 0:
			return false
		}
		d.tell(message(trial, c, &now))
		return true
	})
}

// absorbed tells whether a condition of a larger part of the rack speaks for c:
// of the whole rack for a bin, of a bin for one of its sensors, of the broker for
// whoever is silent.
func absorbed(c watch.Condition, found []watch.Condition) bool {
	return slices.ContainsFunc(found, func(f watch.Condition) bool {
		if f.Kind == watch.Broker {
			return c.Kind == watch.Silent
		}
		return f.Kind == c.Kind && f.Cause() != c.Cause() && f.Sensor == "" && (f.Bin == "" || f.Bin == c.Bin)
	})
}

func (d *Daemon) tell(m tell.Message) {
	if d.teller != nil {
		d.teller.Tell(m)
	}
}

// notIn lists the conditions of list of which others has no cause.
func notIn(list, others []watch.Condition) []watch.Condition {
	return slices.DeleteFunc(slices.Clone(list), func(c watch.Condition) bool {
		return slices.ContainsFunc(others, func(o watch.Condition) bool { return c.Cause() == o.Cause() })
	})
}

func message(trial string, c watch.Condition, until *time.Time) tell.Message {
	c.Since, c.Until = c.Since.UTC(), until
	return tell.Message{Trial: trial, Condition: c}
}

// retain keeps one message at each topic at the broker: that of the gravest
// condition there, or that it is over. What could not be published is tried
// again at the next look.
func (a *alarms) retain(d *Daemon, found []watch.Condition, now time.Time) {
	trial := d.trial.Load().Name
	due := map[string]bool{}
	for _, c := range found {
		m := message(trial, c, nil)
		topic := m.Topic()
		if due[topic] {
			continue
		}
		due[topic] = true
		if a.retained[topic] != c && publish(d, topic, m) {
			a.retained[topic] = c
		}
	}
	for topic, c := range a.retained {
		if !due[topic] && publish(d, topic, message(trial, c, &now)) {
			delete(a.retained, topic)
		}
	}
}

func publish(d *Daemon, topic string, m tell.Message) (ok bool) {
	payload, err := json.Marshal(m)
	if err == nil {
		err = d.source.Publish(topic, payload)
	}
	if err != nil {
		d.options.Log.Warn("condition not published", "topic", topic, "error", err)
	}
	return err == nil
}

// own lists the conditions that the daemon itself is in.
func (a *alarms) own(d *Daemon, now time.Time) []watch.Condition {
	var found []watch.Condition
	a.mu.Lock()
	files, step := a.files, a.step
	a.mu.Unlock()
	folder := d.trial.Load().Dir
	if c, ok := d.keeper.condition(folder); ok {
		found = append(found, c)
	} else if c, ok := diskIs(folder, now); ok {
		found = append(found, c)
	}
	if c, ok := d.link.condition(d.BrokerAddress(), now); ok {
		found = append(found, c)
	}
	if files != nil {
		found = append(found, *files)
	}
	if step != nil && now.Sub(step.At) < clockShown {
		found = append(found, watch.Condition{
			Kind: watch.Clock, Since: step.At,
			Says: fmt.Sprintf("The system clock was set by %s.", step.By.Round(time.Second)),
			Do:   watch.Clock.Do(),
		})
	}
	if c, ok := d.desk.condition(now); ok {
		found = append(found, c)
	}
	if c, ok := d.nightly.condition(d.trial.Load(), now); ok {
		found = append(found, c)
	}
	return found
}

// watched lists what the readings show to be wrong; on an error, what they
// showed last.
func (a *alarms) watched(ctx context.Context, d *Daemon, now time.Time) ([]watch.Condition, error) {
	a.mu.Lock()
	w, last := a.watch, a.shown
	a.mu.Unlock()
	view, err := d.db.View()
	if err != nil {
		return last, fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	wrong, err := w.At(ctx, view, now)
	if err != nil {
		return last, err
	}
	var sensors []page.Sensor
	if slices.ContainsFunc(wrong, func(c watch.Condition) bool { return c.Kind == watch.Silent }) {
		sensors = d.sensors(d.trial.Load(), now)
	}
	for i := range wrong {
		if wrong[i].Kind == watch.Silent {
			tellTimeless(&wrong[i], sensors)
		}
	}
	a.mu.Lock()
	a.shown = wrong
	a.mu.Unlock()
	return wrong, nil
}

// tellTimeless says of sensors that count as silent that their messages come, but
// without a time, and the mend.
func tellTimeless(c *watch.Condition, sensors []page.Sensor) {
	for _, s := range sensors {
		switch {
		case s.Timeless == "":
		case c.Sensor == s.Name:
			c.Says = fmt.Sprintf("Messages of sensor %s come, but can't be used.", s.Name)
			c.Do = fmt.Sprintf("Look into trial.toml: %s.", s.Timeless)
		case c.Sensor == "" && (c.Bin == "" || c.Bin == s.Position.Bin):
			c.Do += fmt.Sprintf(" Messages of sensor %s come: %s.", s.Name, s.Timeless)
		}
	}
}

// keepSince leaves a condition that goes on with the moment it was first found.
func keepSince(before, found []watch.Condition) []watch.Condition {
	for i := range found {
		for _, b := range before {
			if b.Cause() == found[i].Cause() && b.Since.Before(found[i].Since) {
				found[i].Since = b.Since
			}
		}
	}
	return found
}

func diskIs(folder string, now time.Time) (watch.Condition, bool) {
	free, err := freeBytes(folder)
	if err != nil || free >= diskFloor {
		return watch.Condition{}, false
	}
	return watch.Condition{
		Kind: watch.Disk, Since: now,
		Says: fmt.Sprintf("Only %d MB are free where the trial is kept.", free>>20),
		Do:   "Make room on the disk that holds " + absolute(folder) + "; readings can't be kept once it is full.",
	}, true
}
