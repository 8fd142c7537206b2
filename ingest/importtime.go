package ingest

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

// WrittenForms are how times of a file may be said to be written: as a payload's, or
// with the day or the month first.
func WrittenForms() []string {
	return append(TimeFormats(), string(light.DayFirst), string(light.MonthFirst))
}

// parseTime reads a time of a file. Of a repeated hour it is the first passage,
// unless an earlier row (passed) is past that. The time is in Unix nanoseconds.
func (t *table) parseTime(s string, passed int64) (int64, error) {
	at, err := t.instant(s, passed)
	if err != nil {
		return 0, err
	}
	if at.Year() < 1700 || at.Year() > 2200 {
		return 0, fmt.Errorf("%q: the year can't be right", s)
	}
	return at.UnixNano(), nil
}

func (t *table) instant(s string, passed int64) (time.Time, error) {
	zone := cmp.Or(t.Zone, time.UTC)
	order := light.EitherOrder
	switch format := TimeFormat(t.Written); {
	case t.Written == string(light.DayFirst) || t.Written == string(light.MonthFirst):
		order = light.DateOrder(t.Written)
	case format == Local: // by rows that came before, not by the clock
	case t.Written != "":
		at, err := format.parse(s, clockFace{})
		if err != nil {
			return at, fmt.Errorf("%q is not a time as --time-format %s has it", s, format)
		}
		return at, nil
	}
	w, err := light.ReadWritten(s, order)
	if since, ok := looksLikeTime(s); ok && err != nil {
		return since.parse(s, clockFace{}) // seconds or milliseconds
	}
	switch _, twoWays := errors.AsType[*light.TwoWaysError](err); {
	case twoWays:
		return time.Time{}, fmt.Errorf("%w: say which with --time-format %s or %s", err, light.DayFirst, light.MonthFirst)
	case err != nil || !w.Timed:
		return time.Time{}, fmt.Errorf("%q is not a time: write it like 2026-07-21T14:05:30Z, or 2026-07-21 14:05:30 for local time", s)
	case w.Zoned:
		return w.At, nil
	}
	return localTime(w.At, zone, passed)
}

// localTime is the instant at which clocks in the zone show what t shows in UTC.
func localTime(t time.Time, zone *time.Location, passed int64) (time.Time, error) {
	passages := light.LocalTimes(t, zone)
	if len(passages) == 0 {
		return t, fmt.Errorf("clocks in %s never show %s: they were put forward over it; write the time with its offset, like 2026-07-21T14:05:30Z", zone, t.Format(time.DateTime))
	}
	if len(passages) > 1 && passages[0].UnixNano() < passed {
		return passages[1], nil
	}
	return passages[0], nil
}

// CheckWritten says what is wrong with the name of a written form.
func CheckWritten(name string) error {
	if name == "" || slices.Contains(WrittenForms(), name) {
		return nil
	}
	return fmt.Errorf("%q is no way of writing times: use one of %v", name, WrittenForms())
}
