package daemon

import (
	"fmt"
	"sync"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
)

// clockShown is how long a step of the clock is shown.
const clockShown = time.Hour

// clockSteps remembers the last jump of the system clock.
type clockSteps struct {
	mu   sync.Mutex
	last *ingest.Step
}

func (c *clockSteps) note(s ingest.Step) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.last = &s
}

// condition tells that the clock was set lately.
func (c *clockSteps) condition(now time.Time) (watch.Condition, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.last == nil || now.Sub(c.last.At) >= clockShown {
		return watch.Condition{}, false
	}
	return watch.Condition{
		Kind: watch.Clock, Since: c.last.At,
		Says: fmt.Sprintf("The system clock was set by %s.", c.last.By.Round(time.Second)),
		Do:   watch.Clock.Do(),
	}, true
}

// future watches for readings that are dated ahead of this machine's clock.
type future struct {
	trial  func() *trial.Trial
	latest func() map[string]light.Reading // by sensor

	mu    sync.Mutex
	since time.Time // by the machine's clock; zero while there are none
}

// condition tells that there are such readings, and which clock may be wrong.
// What is further ahead than a reading may be that comes now was taken by a clock
// that has been set back since.
func (f *future) condition(now time.Time) (c watch.Condition, ok bool) {
	var last light.Reading
	n := 0
	latest, t := f.latest(), f.trial()
	for _, s := range t.Rack.Sensors {
		if r, heard := latest[s.Name]; heard && light.Ahead(r.At, now) {
			n++
			if r.At.After(last.At) {
				last = r
			}
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	if n == 0 {
		f.since = time.Time{}
		return c, false
	}
	if f.since.IsZero() {
		f.since = now
	}
	whose := "of a sensor"
	if n > 1 {
		whose = fmt.Sprintf("of %d sensors", n)
	}
	c = watch.Condition{
		Kind: watch.Clock, Since: f.since,
		Says: fmt.Sprintf("Readings %s are dated up to %s (%s), which this machine's clock has not reached yet.",
			whose, last.At.In(t.Rack.Zone).Format("2 January 2006, 15:04"), last.Sensor),
		Do: fmt.Sprintf("The clock of sensor %s may be ahead, or this machine's behind: set the one that is wrong.", last.Sensor),
	}
	if light.Ahead(last.Arrived, now) {
		c.Do = fmt.Sprintf("This machine's clock may be behind now, or was ahead when they came (it then said %s): set it, and see that the machine gets its time from the network or has a clock with a battery. Until then light may count on the wrong days.",
			last.Arrived.In(t.Rack.Zone).Format("2 January 2006, 15:04"))
	}
	return c, true
}

// clockCondition tells that the machine's clock, or a sensor's, can't be trusted.
func (d *Daemon) clockCondition(now time.Time) (watch.Condition, bool) {
	if c, is := d.future.condition(now); is {
		return c, true
	}
	return d.clockSteps.condition(now)
}
