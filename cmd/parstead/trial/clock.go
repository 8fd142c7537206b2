package trial

import (
	"fmt"
	"strings"
	"time"

	"parstead/light"
)

// Clock reads the times of a sheet, a note or a logger's file, one after the
// other: RFC 3339, or 2026-07-21 14:05[:30] by the clocks of Zone. A time that
// the change to winter time repeats is its first passage, unless the time read
// before it has already passed that.
type Clock struct {
	Zone *time.Location
	last time.Time
}

// Parse reads the next time. It is in UTC.
func (c *Clock) Parse(s string) (time.Time, error) {
	s = strings.TrimSpace(s)
	if t, err := time.Parse(time.RFC3339, s); err == nil {
		return c.passed(sensibleTime(t))
	}
	for _, layout := range []string{"2006-01-02 15:04", time.DateTime} {
		if t, err := time.Parse(layout, s); err == nil {
			return c.local(t)
		}
	}
	return time.Time{}, fmt.Errorf("%q is not a time: write it like 2026-07-21 14:05", s)
}

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
