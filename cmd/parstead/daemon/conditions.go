package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"parstead/cmd/parstead/alarm"
	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/watch"
	"parstead/store"
)

// conditions looks for what is wrong, at the rack and with the daemon itself, has
// it told and keeps it at the broker.
type conditions struct {
	trial    func() *trial.Trial
	db       *store.DB
	own      []func(now time.Time) (watch.Condition, bool) // what the daemon knows of itself
	timeless func() map[string]string                      // by sensor, why the time of its readings is missing
	finished func(bin string) []watch.BinDay               // light days of a bin that are over
	tell     func(tell.Message)
	publish  func(topic string, payload []byte) error
	log      *slog.Logger

	looking  sync.Mutex                 // one look at a time
	retained map[string]watch.Condition // topic: what stands there

	mu    sync.Mutex
	watch *watch.Watch
	state *alarm.State
	shown []watch.Condition // what the readings showed at the last look that could be made
}

// begin starts to judge the rack, with what was told before the last stop.
func (c *conditions) begin(rack *light.Rack, told []watch.Condition, now time.Time) {
	c.watch, c.state, c.retained = c.watchOver(rack), alarm.New(told, now), map[string]watch.Condition{}
}

// list is the conditions that hold, gravest first; known is false before the
// first look since the start.
func (c *conditions) list() (holding []watch.Condition, known bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.state.Holding()
}

// renew begins with new baselines, for a trial whose files have changed.
func (c *conditions) renew(rack *light.Rack) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.watch = c.watchOver(rack)
}

func (c *conditions) watchOver(rack *light.Rack) *watch.Watch {
	w := watch.New(rack)
	w.Finished = c.finished
	return w
}

// look finds what is wrong now and says what is new of it.
func (c *conditions) look(ctx context.Context, now time.Time) {
	c.looking.Lock()
	defer c.looking.Unlock()
	var own []watch.Condition
	for _, is := range c.own {
		if found, ok := is(now); ok {
			own = append(own, found)
		}
	}
	shown, err := c.readingsShow(ctx, now)
	if ctx.Err() != nil {
		return
	}
	if err != nil {
		c.log.Error("conditions not judged", "error", err)
	}
	c.mu.Lock()
	news := c.state.Look(own, shown, now)
	c.mu.Unlock()

	for _, x := range news.Begun {
		c.log.Warn("condition", "condition", x.Kind, "bin", x.Bin, "sensor", x.Sensor, "says", x.Says)
	}
	for _, x := range news.Ended {
		c.log.Info("condition over", "condition", x.Kind, "bin", x.Bin, "sensor", x.Sensor)
	}
	name := c.trial().Name
	for _, x := range news.Tell {
		c.tell(message(name, x, nil))
	}
	for _, x := range news.Over {
		c.tell(message(name, x, &now))
	}
	c.retain(name, news.Holding, now)
}

func message(trial string, c watch.Condition, until *time.Time) tell.Message {
	c.Since, c.Until = c.Since.UTC(), until
	return tell.Message{Trial: trial, Condition: c}
}

// retain keeps one message at each topic at the broker: that of the gravest
// condition there, or that it is over. What could not be published is tried
// again at the next look.
func (c *conditions) retain(trial string, holding []watch.Condition, now time.Time) {
	due := map[string]bool{}
	for _, x := range holding {
		m := message(trial, x, nil)
		topic := m.Topic()
		if due[topic] {
			continue
		}
		due[topic] = true
		if c.retained[topic] != x && c.published(topic, m) {
			c.retained[topic] = x
		}
	}
	for topic, x := range c.retained {
		if !due[topic] && c.published(topic, message(trial, x, &now)) {
			delete(c.retained, topic)
		}
	}
}

func (c *conditions) published(topic string, m tell.Message) bool {
	payload, err := json.Marshal(m)
	if err == nil {
		err = c.publish(topic, payload)
	}
	if err != nil {
		c.log.Warn("condition not published", "topic", topic, "error", err)
	}
	return err == nil
}

// readingsShow lists what the readings show to be wrong; on an error, what they
// showed last.
func (c *conditions) readingsShow(ctx context.Context, now time.Time) ([]watch.Condition, error) {
	c.mu.Lock()
	w, last := c.watch, c.shown
	c.mu.Unlock()
	view, err := c.db.View()
	if err != nil {
		return last, fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	wrong, err := w.At(ctx, view, now)
	if err != nil {
		return last, err
	}
	for i := range wrong {
		if wrong[i].Kind == watch.Silent {
			tellTimeless(&wrong[i], c.trial().Rack.Sensors, c.timeless(), now)
		}
	}
	c.mu.Lock()
	c.shown = wrong
	c.mu.Unlock()
	return wrong, nil
}

// tellTimeless says of sensors that count as silent that their messages come, but
// without a time, and the mend.
func tellTimeless(c *watch.Condition, sensors []light.Sensor, why map[string]string, now time.Time) {
	for _, s := range sensors {
		switch mend := why[s.Name]; {
		case mend == "" || !s.During.Holds(now):
		case c.Sensor == s.Name:
			c.Says = fmt.Sprintf("Messages of sensor %s come, but can't be used.", s.Name)
			c.Do = fmt.Sprintf("Look into trial.toml: %s.", mend)
		case c.Sensor == "" && (c.Bin == "" || c.Bin == s.Position.Bin):
			c.Do += fmt.Sprintf(" Messages of sensor %s come: %s.", s.Name, mend)
		}
	}
}
