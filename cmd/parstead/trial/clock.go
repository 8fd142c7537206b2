package trial

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"parstead/light"
)

// Clock reads the times of a sheet, a note or a logger's file, one after the
// other: RFC 3339, or 2026-07-21 14:05[:30] by the clocks of Zone, or as a
// spreadsheet rewrote that, where it can mean one day only. A time that
// the change to winter time repeats is its first passage, unless the time read
// before it has already passed that.
type Clock struct {
	Zone *time.Location
	last time.Time
}

// Parse reads the next time. It is in UTC.
func (c *Clock) Parse(s string) (time.Time, error) {
	s = strings.TrimSpace(s)
	w, err := light.ReadWritten(s, light.EitherOrder)
	switch _, twoWays := errors.AsType[*light.TwoWaysError](err); {
	case twoWays:
		return time.Time{}, fmt.Errorf("%w: write it like 2026-07-21 14:05; %s", err, spreadsheetsRemedy)
	case err != nil || !w.Timed:
		return time.Time{}, fmt.Errorf("%q is not a time: write it like 2026-07-21 14:05", s)
	case w.Zoned:
		return c.passed(sensibleTime(w.At))
	}
	return c.local(w.At)
}

// spreadsheetsRemedy is how a spreadsheet program is kept from rewriting dates.
const spreadsheetsRemedy = "in a spreadsheet program give the column the date format YYYY-MM-DD (year first), then save again"

// local is the instant at which clocks in the zone show what t shows in UTC.
func (c *Clock) local(t time.Time) (time.Time, error) {
	if _, err := sensibleTime(t); err != nil {
		return time.Time{}, err
	}
	passages := light.LocalTimes(t, c.Zone)
	switch len(passages) {
	case 0:
		return time.Time{}, fmt.Errorf("clocks in %v skip %s: write the time that they showed", c.Zone, t.Format("2006-01-02 15:04"))
	case 2:
		first, second := passages[0], passages[1]
		if c.last.After(first) && c.last.Before(second.Add(second.Sub(first))) {
			return c.passed(second, nil)
		}
	}
	return c.passed(passages[0], nil)
}

func (c *Clock) passed(t time.Time, err error) (time.Time, error) {
	if err != nil {
		return time.Time{}, err
	}
	c.last = t
	return t.UTC(), nil
}

// sensibleTime refuses years that no trial has and no clock can count in.
func sensibleTime(t time.Time) (time.Time, error) {
	if y := t.Year(); y < 1970 || y > 2200 {
		return t, fmt.Errorf("the year %d can't be meant", y)
	}
	return t.UTC(), nil
}
