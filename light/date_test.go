package light_test

import (
	"testing"
	"time"

	"parstead/light"
)

func zone(tb testing.TB, name string) *time.Location {
	tb.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		tb.Fatal(err)
	}
	return z
}

func date(tb testing.TB, s string) light.Date {
	tb.Helper()
	d, err := light.ParseDate(s)
	if err != nil {
		tb.Fatal(err)
	}
	return d
}

func clock(tb testing.TB, s string) light.TimeOfDay {
	tb.Helper()
	c, err := light.ParseTimeOfDay(s)
	if err != nil {
		tb.Fatal(err)
	}
	return c
}

// The clock changes are those of the IANA time zone database.
func TestTimeOfDayOn(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ zone, date, clock, utc string }{
		{"Europe/Lisbon", "2026-07-21", "07:00", "2026-07-21T06:00:00Z"},
		{"Europe/Lisbon", "2026-07-21", "24:00", "2026-07-21T23:00:00Z"},
		// 01:00 to 02:00 is skipped on 29 March, passed twice on 25 October.
		{"Europe/Lisbon", "2026-03-29", "00:59:59", "2026-03-29T00:59:59Z"},
		{"Europe/Lisbon", "2026-03-29", "01:00", "2026-03-29T01:00:00Z"},
		{"Europe/Lisbon", "2026-03-29", "01:30", "2026-03-29T01:00:00Z"},
		{"Europe/Lisbon", "2026-03-29", "02:00", "2026-03-29T01:00:00Z"},
		{"Europe/Lisbon", "2026-03-29", "02:30", "2026-03-29T01:30:00Z"},
		{"Europe/Lisbon", "2026-10-25", "00:59", "2026-10-24T23:59:00Z"},
		{"Europe/Lisbon", "2026-10-25", "01:00", "2026-10-25T00:00:00Z"},
		{"Europe/Lisbon", "2026-10-25", "01:30", "2026-10-25T00:30:00Z"},
		{"Europe/Lisbon", "2026-10-25", "02:00", "2026-10-25T02:00:00Z"},
		// 02:00 to 03:00 skipped on 8 March, 01:00 to 02:00 twice on 1 November.
		{"America/New_York", "2026-03-08", "02:30", "2026-03-08T07:00:00Z"},
		{"America/New_York", "2026-03-08", "03:00", "2026-03-08T07:00:00Z"},
		{"America/New_York", "2026-11-01", "01:30", "2026-11-01T05:30:00Z"},
		{"America/New_York", "2026-11-01", "02:00", "2026-11-01T07:00:00Z"},
		// Midnight itself is skipped.
		{"America/Santiago", "2026-09-06", "00:00", "2026-09-06T04:00:00Z"},
		{"America/Santiago", "2026-09-06", "00:30", "2026-09-06T04:00:00Z"},
		// The hour before midnight is passed twice.
		{"America/Santiago", "2026-04-04", "23:30", "2026-04-05T02:30:00Z"},
		{"America/Santiago", "2026-04-05", "00:00", "2026-04-05T04:00:00Z"},
		// Half an hour: 02:00 to 02:30 skipped on 4 October, 01:30 to 02:00 twice on 5 April.
		{"Australia/Lord_Howe", "2026-10-04", "02:15", "2026-10-03T15:30:00Z"},
		{"Australia/Lord_Howe", "2026-10-04", "02:30", "2026-10-03T15:30:00Z"},
		{"Australia/Lord_Howe", "2026-04-05", "01:45", "2026-04-04T14:45:00Z"},
		{"Australia/Lord_Howe", "2026-04-05", "01:15", "2026-04-04T14:15:00Z"},
		{"Australia/Lord_Howe", "2026-04-05", "02:00", "2026-04-04T15:30:00Z"},
		// A whole day, 30 December, is skipped.
		{"Pacific/Apia", "2011-12-30", "00:00", "2011-12-30T10:00:00Z"},
		{"Pacific/Apia", "2011-12-30", "12:00", "2011-12-30T10:00:00Z"},
		{"Pacific/Apia", "2011-12-31", "00:00", "2011-12-30T10:00:00Z"},
	} {
		got := clock(t, c.clock).On(date(t, c.date), zone(t, c.zone)).UTC().Format(time.RFC3339)
		if got != c.utc {
			t.Errorf("%s on %s in %s: got %s, want %s", c.clock, c.date, c.zone, got, c.utc)
		}
	}
}

// Whatever the zone and the date, clocks show the time asked for unless it is
// skipped, the answer is the first instant that does, and days follow one
// another without hole or overlap.
func TestTimeOfDayOnIsFirstPassage(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"UTC", "Europe/Lisbon", "America/New_York", "America/Santiago", "Australia/Lord_Howe", "Asia/Kathmandu"} {
		z := zone(t, name)
		for d := date(t, "2026-01-01"); d.Before(date(t, "2027-01-01")); d = d.Add(1) {
			for m := 0; m < 24*60; m += 15 {
				c := light.TimeOfDay(time.Duration(m) * time.Minute)
				at := c.On(d, z)
				shown := at.Hour()*60 + at.Minute()
				if light.DateOf(at) == d && shown == m {
					if prev := at.Add(-time.Hour).In(z); prev.Hour()*60+prev.Minute() == m {
						t.Fatalf("%s %s %s: second passage", name, d, c)
					}
					if prev := at.Add(-30 * time.Minute).In(z); prev.Hour()*60+prev.Minute() == m {
						t.Fatalf("%s %s %s: second passage", name, d, c)
					}
					continue
				}
				if before := at.Add(-time.Nanosecond).In(z); before.Hour()*60+before.Minute() >= m && light.DateOf(before) == d {
					t.Fatalf("%s %s %s: %s is not the end of a gap", name, d, c, at)
				}
			}
		}
	}
}

func TestCalendarDay(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		zone, starts, date string
		hours              float64
	}{
		{"Europe/Lisbon", "00:00", "2026-03-28", 24},
		{"Europe/Lisbon", "00:00", "2026-03-29", 23},
		{"Europe/Lisbon", "00:00", "2026-10-25", 25},
		{"Europe/Lisbon", "01:30", "2026-03-28", 23.5}, // the skipped 01:30 is 02:00
		{"Europe/Lisbon", "01:30", "2026-03-29", 23.5},
		{"Europe/Lisbon", "01:30", "2026-10-24", 24}, // first passage
		{"Europe/Lisbon", "01:30", "2026-10-25", 25},
		{"Europe/Lisbon", "06:00", "2026-10-24", 25},
		{"America/New_York", "00:00", "2026-03-08", 23},
		{"America/New_York", "00:00", "2026-11-01", 25},
		{"Australia/Lord_Howe", "00:00", "2026-04-05", 24.5},
		{"Australia/Lord_Howe", "00:00", "2026-10-04", 23.5},
	} {
		cal := light.Calendar{Zone: zone(t, c.zone), DayStarts: clock(t, c.starts)}
		if got := cal.Day(date(t, c.date)).Length().Hours(); got != c.hours {
			t.Errorf("%s from %s, %s: %v h, want %v", c.zone, c.starts, c.date, got, c.hours)
		}
	}
}

func TestCalendarDateAt(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"Europe/Lisbon", "America/Santiago", "Australia/Lord_Howe"} {
		for _, starts := range []string{"00:00", "01:30", "06:00", "23:30"} {
			cal := light.Calendar{Zone: zone(t, name), DayStarts: clock(t, starts)}
			for d := date(t, "2026-01-01"); d.Before(date(t, "2027-01-01")); d = d.Add(1) {
				day := cal.Day(d)
				if got := cal.DateAt(day.From); got != d {
					t.Fatalf("%s %s: first instant of %s is of %s", name, starts, d, got)
				}
				if got := cal.DateAt(day.Until.Add(-1)); got != d {
					t.Fatalf("%s %s: last instant of %s is of %s", name, starts, d, got)
				}
				if !day.Until.Equal(cal.Day(d.Add(1)).From) {
					t.Fatalf("%s %s: %s does not end where the next begins", name, starts, d)
				}
			}
		}
	}
}

func TestDates(t *testing.T) {
	t.Parallel()
	d := date(t, "2026-02-28")
	if got := d.Add(1).String(); got != "2026-03-01" {
		t.Errorf("the day after 28 February 2026 is %s", got)
	}
	if got := d.DaysUntil(date(t, "2027-02-28")); got != 365 {
		t.Errorf("a year has %d days", got)
	}
	if got := d.DaysUntil(date(t, "2026-02-27")); got != -1 {
		t.Errorf("yesterday is %d days away", got)
	}
	for _, bad := range []string{"2026-02-29", "29.02.2026", "2026-2-1", "", "2026-02-28T00:00:00Z"} {
		if _, err := light.ParseDate(bad); err == nil {
			t.Errorf("%q passes for a date", bad)
		}
	}
	for _, bad := range []string{"25:00", "24:01", "7", "07:60", "", "07:00 pm"} {
		if _, err := light.ParseTimeOfDay(bad); err == nil {
			t.Errorf("%q passes for a time of day", bad)
		}
	}
	for _, s := range []string{"00:00", "07:05", "23:59:59", "24:00"} {
		if got := clock(t, s).String(); got != s {
			t.Errorf("%s is written %s", s, got)
		}
	}
}

func TestSpan(t *testing.T) {
	t.Parallel()
	at := func(h int) time.Time {
		if h == 0 {
			return time.Time{}
		}
		return time.Date(2026, 3, 2, h, 0, 0, 0, time.UTC)
	}
	span := func(from, until int) light.Span { return light.Span{From: at(from), Until: at(until)} }
	for _, c := range []struct {
		a, b, both light.Span
		overlap    bool
	}{
		{span(1, 5), span(3, 8), span(3, 5), true},
		{span(1, 5), span(5, 8), light.Span{}, false},
		{span(1, 5), span(0, 0), span(1, 5), true},
		{span(0, 5), span(3, 0), span(3, 5), true},
		{span(0, 3), span(3, 0), light.Span{}, false},
		{span(2, 3), span(1, 8), span(2, 3), true},
		{span(0, 3), span(0, 5), span(0, 3), true},
	} {
		for _, pair := range [][2]light.Span{{c.a, c.b}, {c.b, c.a}} {
			part, ok := pair[0].Within(pair[1])
			if ok != c.overlap || ok && part != c.both {
				t.Errorf("%v within %v: %v, %v", pair[0], pair[1], part, ok)
			}
			if got := pair[0].Overlaps(pair[1]); got != c.overlap {
				t.Errorf("%v overlaps %v: %v", pair[0], pair[1], got)
			}
		}
	}
	if s := span(1, 5); !s.Holds(at(1)) || s.Holds(at(5)) || !span(0, 5).Holds(at(1)) || !span(1, 0).Holds(at(9)) {
		t.Error("a span holds its beginning and not its end")
	}
}

func TestDateText(t *testing.T) {
	t.Parallel()
	for _, d := range []light.Date{date(t, "2026-07-21"), date(t, "2024-02-29")} {
		text, err := d.MarshalText()
		if err != nil {
			t.Fatal(err)
		}
		var back light.Date
		if err := back.UnmarshalText(text); err != nil || back != d {
			t.Errorf("%s reads back as %s, %v", d, back, err)
		}
	}
	var d light.Date
	if err := d.UnmarshalText([]byte("2026-02-30")); err == nil {
		t.Error("30 February was read as a date")
	}
}

// Dates are written as the standard library writes them, those that no calendar
// has brought into one.
func TestDatesAreWrittenAsByTheStandardLibrary(t *testing.T) {
	t.Parallel()
	for _, year := range []int{1, 999, 1000, 1900, 2024, 2026, 9999, 10000} {
		for month := time.Month(0); month <= 13; month++ {
			for day := range 33 {
				d := light.Date{Year: year, Month: month, Day: day}
				want := time.Date(year, month, day, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
				if got := d.String(); got != want {
					t.Fatalf("%d-%d-%d: %s, want %s", year, month, day, got, want)
				}
			}
		}
	}
}
