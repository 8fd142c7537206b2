package light

import (
	"fmt"
	"time"
)

// Date is a day of the calendar without a time zone.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

// ParseDate reads a date written 2026-07-21.
func ParseDate(s string) (Date, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return Date{}, fmt.Errorf("%q is not a date: write it like 2026-07-21", s)
	}
	return DateOf(t), nil
}

// DateOf is the calendar day of t in t's own location.
func DateOf(t time.Time) Date {
	y, m, d := t.Date()
	return Date{y, m, d}
}

// String writes the date as 2026-07-21.
func (d Date) String() string { return string(d.append(nil)) }

func (d Date) append(b []byte) []byte {
	if d.Year < 1000 || d.Year > 9999 || d.Month < 1 || d.Month > 12 || d.Day < 1 || d.Day > 28 && d != d.Add(0) {
		return d.utc().AppendFormat(b, time.DateOnly)
	}
	// Written out: a season's figures carry it tens of thousands of times.
	two := func(n int) (tens, ones byte) { return byte('0' + n/10), byte('0' + n%10) }
	y0, y1 := two(d.Year / 100)
	y2, y3 := two(d.Year % 100)
	m0, m1 := two(int(d.Month))
	d0, d1 := two(d.Day)
	return append(b, y0, y1, y2, y3, '-', m0, m1, '-', d0, d1)
}

// AppendText appends the date as String writes it.
func (d Date) AppendText(b []byte) ([]byte, error) { return d.append(b), nil }

// MarshalText writes the date as String does.
func (d Date) MarshalText() ([]byte, error) { return d.append(nil), nil }

// UnmarshalText reads what MarshalText writes.
func (d *Date) UnmarshalText(text []byte) (err error) {
	*d, err = ParseDate(string(text))
	return err
}

// IsZero tells whether no date is set.
func (d Date) IsZero() bool { return d == Date{} }

// Add is the date n days later.
func (d Date) Add(n int) Date { return DateOf(d.utc().AddDate(0, 0, n)) }

// Before tells whether d comes before other.
func (d Date) Before(other Date) bool { return d.utc().Before(other.utc()) }

// Earlier is the earlier of two dates.
func Earlier(a, b Date) Date {
	if b.Before(a) {
		return b
	}
	return a
}

// Later is the later of two dates.
func Later(a, b Date) Date {
	if a.Before(b) {
		return b
	}
	return a
}

// DaysUntil counts the days from d to other; negative if other is earlier.
func (d Date) DaysUntil(other Date) int {
	return int(other.utc().Sub(d.utc()) / (24 * time.Hour))
}

func (d Date) utc() time.Time { return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC) }

// TimeOfDay is a local clock time, counted from midnight: 0 to 24 h, where
// 24 h (written 24:00) is the end of the day.
type TimeOfDay time.Duration

// ParseTimeOfDay reads 07:00 or 07:00:30.
func ParseTimeOfDay(s string) (TimeOfDay, error) {
	if s == "24:00" {
		return TimeOfDay(24 * time.Hour), nil
	}
	for _, layout := range []string{"15:04", time.TimeOnly} {
		if t, err := time.Parse(layout, s); err == nil {
			return TimeOfDay(time.Duration(t.Hour())*time.Hour +
				time.Duration(t.Minute())*time.Minute + time.Duration(t.Second())*time.Second), nil
		}
	}
	return 0, fmt.Errorf("%q is not a time of day: write it like 07:00", s)
}

// String writes the time as 07:00, with seconds where there are any.
func (c TimeOfDay) String() string {
	d := time.Duration(c)
	h, m, s := int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60
	if s != 0 {
		return fmt.Sprintf("%02d:%02d:%02d", h, m, s)
	}
	return fmt.Sprintf("%02d:%02d", h, m)
}

// On is the instant at which clocks in zone show c on date d. A local time
// that the change to summer time skips is the first instant after the gap; one
// that is passed twice is its first passage.
func (c TimeOfDay) On(d Date, zone *time.Location) time.Time {
	naive := d.utc().Add(time.Duration(c))
	y, mo, da := naive.Date()
	h, mi, s := naive.Clock()
	t := time.Date(y, mo, da, h, mi, s, 0, zone)
	start, end := t.ZoneBounds()
	if _, offset := t.Zone(); t.Unix()+int64(offset) != naive.Unix() {
		// Skipped: time.Date answers with either side's offset, so the gap is at
		// the nearer edge of the zone period that it landed in.
		if !start.IsZero() && t.Sub(start) <= 24*time.Hour {
			return start.In(zone)
		}
		return end.In(zone)
	}
	// Passed twice: the first passage has the offset in force before the change.
	if !start.IsZero() {
		_, offset := t.Zone()
		_, before := start.Add(-time.Second).Zone()
		if earlier := t.Add(time.Duration(offset-before) * time.Second); before > offset && earlier.Before(start) {
			return earlier
		}
	}
	return t
}

// Span is a stretch of time, From included and Until not. A zero From or Until
// leaves that side open.
type Span struct{ From, Until time.Time }

// Holds tells whether t lies in the span.
func (s Span) Holds(t time.Time) bool {
	return (s.From.IsZero() || !t.Before(s.From)) && (s.Until.IsZero() || t.Before(s.Until))
}

// Overlaps tells whether the two spans share any instant.
func (s Span) Overlaps(o Span) bool {
	return (s.Until.IsZero() || o.From.IsZero() || o.From.Before(s.Until)) &&
		(o.Until.IsZero() || s.From.IsZero() || s.From.Before(o.Until))
}

// Within is the part of s that lies inside o; ok is false if there is none.
func (s Span) Within(o Span) (part Span, ok bool) {
	part = s
	if part.From.IsZero() || (!o.From.IsZero() && o.From.After(part.From)) {
		part.From = o.From
	}
	if part.Until.IsZero() || (!o.Until.IsZero() && o.Until.Before(part.Until)) {
		part.Until = o.Until
	}
	ok = part.From.IsZero() || part.Until.IsZero() || part.From.Before(part.Until)
	return part, ok
}

// Length is Until less From; both must be set.
func (s Span) Length() time.Duration { return s.Until.Sub(s.From) }

// Without takes a stretch, whose bounds must both be set, out of ordered spans.
func Without(spans []Span, out Span) (left []Span) {
	for _, s := range spans {
		if before, ok := s.Within(Span{Until: out.From}); ok {
			left = append(left, before)
		}
		if after, ok := s.Within(Span{From: out.Until}); ok {
			left = append(left, after)
		}
	}
	return left
}

// Calendar says where light days begin: a time zone and a local time.
type Calendar struct {
	Zone      *time.Location
	DayStarts TimeOfDay
}

// Day is the span of the light day that carries date d: from DayStarts on d to
// DayStarts on the next date. It lasts 23, 24 or 25 hours around clock changes.
func (c Calendar) Day(d Date) Span {
	return Span{c.DayStarts.On(d, c.Zone), c.DayStarts.On(d.Add(1), c.Zone)}
}

// DateAt is the date of the light day in which t falls.
func (c Calendar) DateAt(t time.Time) Date {
	d := DateOf(t.In(c.Zone))
	for !c.Day(d).From.After(t) {
		d = d.Add(1)
	}
	for c.Day(d).From.After(t) {
		d = d.Add(-1)
	}
	return d
}

// LocalTimes are the instants at which clocks in the zone show what t shows in UTC,
// in order: none where clocks were put forward over it, two where they were put back.
func LocalTimes(t time.Time, zone *time.Location) (passages []time.Time) {
	// No zone has two changes within two days, so the offsets a day either side
	// are all that can be in force.
	_, before := t.AddDate(0, 0, -1).In(zone).Zone()
	_, after := t.AddDate(0, 0, 1).In(zone).Zone()
	for _, offset := range []int{max(before, after), min(before, after)} { // the greater offset passes first
		u := t.Add(-time.Duration(offset) * time.Second)
		if _, shown := u.In(zone).Zone(); shown == offset && (len(passages) == 0 || !passages[0].Equal(u)) {
			passages = append(passages, u)
		}
	}
	return passages
}
