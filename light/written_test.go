package light_test

import (
	"errors"
	"testing"
	"time"

	"parstead/light"
)

// Dates as they are written by people, spreadsheets and loggers. RFC 3339's examples
// are those of its section 5.8; day before month with points is DIN 5008:2020, the
// rest common practice, no source.
func TestWrittenDates(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text  string
		order light.DateOrder
		want  string // RFC 3339, in UTC where zoned; "" for no date
		zoned bool
		timed bool
	}{
		{"1985-04-12T23:20:50.52Z", "", "1985-04-12T23:20:50.52Z", true, true},
		{"1996-12-19T16:39:57-08:00", "", "1996-12-20T00:39:57Z", true, true},
		{"1985-04-12 23:20:50z", "", "1985-04-12T23:20:50Z", true, true},
		{"2026-07-21", "", "2026-07-21T00:00:00Z", false, false},
		{"2026-07-21 14:05", "", "2026-07-21T14:05:00Z", false, true},
		{"2026-07-21T14:05:30", "", "2026-07-21T14:05:30Z", false, true},
		{"2026-07-21T14:05:30,250", "", "2026-07-21T14:05:30.25Z", false, true},
		{"2026/7/1 9:05", "", "2026-07-01T09:05:00Z", false, true},
		{"26.11.2026 14:05", "", "2026-11-26T14:05:00Z", false, true},
		{"3.4.2026", "", "2026-04-03T00:00:00Z", false, false},
		{"03.04.26", "", "2026-04-03T00:00:00Z", false, false},
		{"26/11/2026", "", "2026-11-26T00:00:00Z", false, false},
		{"11/26/2026 02:05:30 PM", "", "2026-11-26T14:05:30Z", false, true},
		{"11/26/2026 12:05 am", "", "2026-11-26T00:05:00Z", false, true},
		{"26-11-2026", "", "2026-11-26T00:00:00Z", false, false},
		{"05/05/2026", "", "2026-05-05T00:00:00Z", false, false},
		{"7/21/26", "", "2026-07-21T00:00:00Z", false, false},
		{"21-Jul-26", "", "2026-07-21T00:00:00Z", false, false},
		{"21 July 2026, 14:05", "", "2026-07-21T14:05:00Z", false, true},
		{"Jul 21, 2026", "", "2026-07-21T00:00:00Z", false, false},
		{"03/04/2026 10:00", light.DayFirst, "2026-04-03T10:00:00Z", false, true},
		{"03/04/2026 10:00", light.MonthFirst, "2026-03-04T10:00:00Z", false, true},
		{"28.02.2026", light.MonthFirst, "2026-02-28T00:00:00Z", false, false},
		{"29.02.2026", "", "", false, false},
		{"31/04/2026", "", "", false, false},
		{"2026-07-21 24:05", "", "", false, false},
		{"2026-07-21 14:60", "", "", false, false},
		{"2026-07-21 13:00 pm", "", "", false, false},
		{"21/07", "", "", false, false},
		{"46224", "", "", false, false},
		{"21 Jux 2026", "", "", false, false},
		{"", "", "", false, false},
	} {
		w, err := light.ReadWritten(c.text, c.order)
		got := ""
		if err == nil {
			got = w.At.UTC().Format(time.RFC3339Nano)
		}
		if got != c.want || w.Zoned != c.zoned || w.Timed != c.timed || err != nil && !errors.Is(err, light.ErrNoDate) {
			t.Errorf("%q %s: %s, %+v, %v", c.text, c.order, got, w, err)
		}
	}
}

// What can mean two days is refused with all that it can mean.
func TestDatesOfTwoReadings(t *testing.T) {
	t.Parallel()
	for text, says := range map[string]string{
		"03/04/2026":     `"03/04/2026" can be read as 2026-03-04 or as 2026-04-03`,
		"3-4-2026 10:00": `"3-4-2026 10:00" can be read as 2026-03-04 or as 2026-04-03`,
		"21/07/26":       `"21/07/26" can be read as 2021-07-26 or as 2026-07-21`,
		"05/06/07":       `"05/06/07" can be read as 2005-06-07 or as 2007-05-06 or as 2007-06-05`,
	} {
		_, err := light.ReadWritten(text, light.EitherOrder)
		if two, ok := errors.AsType[*light.TwoWaysError](err); !ok || two.Error() != says {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Every day of two years is read back as it was written, in each form, or refused as
// ambiguous exactly where day and month could change places.
func TestEveryDayIsReadBack(t *testing.T) {
	t.Parallel()
	for day := time.Date(2027, 1, 1, 0, 0, 0, 0, time.UTC); day.Year() < 2029; day = day.AddDate(0, 0, 1) {
		for _, layout := range []string{"2006-01-02", "2006/1/2", "02.01.2006", "2.1.06", "02-Jan-2006", "January 2, 2006", "2/1/2006", "01/02/2006"} {
			text := day.Format(layout)
			w, err := light.ReadWritten(text, light.EitherOrder)
			_, twoWays := errors.AsType[*light.TwoWaysError](err)
			may := (layout == "2/1/2006" || layout == "01/02/2006") && day.Day() <= 12 && day.Day() != int(day.Month())
			if twoWays != may || !may && (err != nil || !w.At.Equal(day)) {
				t.Fatalf("%q: %v, %v", text, w, err)
			}
		}
	}
}
