package trial_test

import (
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/trial"
)

func zone(t *testing.T, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return z
}

// Clocks in Europe/Lisbon go from 01:00 to 02:00 on 2026-03-29 and from 02:00 to
// 01:00 on 2026-10-25, both at 01:00 UTC (directive 2000/84/EC: the last Sundays
// of March and October).
func TestClockChanges(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ written, want string }{
		{"2026-03-29 00:59", "2026-03-29T00:59:00Z"},
		{"2026-10-25 00:30", "2026-10-24T23:30:00Z"},
		{"2026-10-25 01:30", "2026-10-25T00:30:00Z"},                                       // the first passage
		{"2026-10-25 01:30,2026-10-25 01:30", "2026-10-25T00:30:00Z 2026-10-25T00:30:00Z"}, // at one time
		{"2026-10-25 01:50,2026-10-25 01:10", "2026-10-25T00:50:00Z 2026-10-25T01:10:00Z"}, // passed already
		{"2026-10-25 01:50,2026-10-25 01:10,2026-10-25 01:30", "2026-10-25T00:50:00Z 2026-10-25T01:10:00Z 2026-10-25T01:30:00Z"},
		{"2026-10-25T01:05:00Z,2026-10-25 01:30", "2026-10-25T01:05:00Z 2026-10-25T01:30:00Z"},
		{"2026-12-01 12:00,2026-10-25 01:30", "2026-12-01T12:00:00Z 2026-10-25T00:30:00Z"}, // another plant's rows begin
		{"2026-07-21 14:05:30", "2026-07-21T13:05:30Z"},
		{"2026-07-21T14:05:30+02:00", "2026-07-21T12:05:30Z"},
		{"2026-07-21T14:05", "2026-07-21T13:05:00Z"},
		{"21.07.2026 14:05", "2026-07-21T13:05:00Z"},
	} {
		clock := trial.Clock{Zone: zone(t, "Europe/Lisbon")}
		var got []string
		for written := range strings.SplitSeq(c.written, ",") {
			at, err := clock.Parse(written)
			if err != nil {
				t.Fatal(err)
			}
			got = append(got, at.Format(time.RFC3339))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: %s, want %s", c.written, s, c.want)
		}
	}
	for _, written := range []string{"2026-03-29 01:00", "2026-03-29 01:30", "2026-03-29 01:59:59"} {
		clock := trial.Clock{Zone: zone(t, "Europe/Lisbon")}
		if at, err := clock.Parse(written); err == nil || !strings.Contains(err.Error(), "skip "+written[:16]) {
			t.Errorf("%s: %v %v", written, at, err)
		}
	}
}

// Lord Howe Island's clocks change by half an hour, and Samoa left out the whole
// of 2011-12-30 (IANA time zone database).
func TestUnusualChanges(t *testing.T) {
	t.Parallel()
	for written, want := range map[string]string{
		"2026-04-05 01:45": "2026-04-04T14:45:00Z", // 01:30 to 02:00 is passed twice
		"2026-04-05 02:00": "2026-04-04T15:30:00Z",
	} {
		clock := trial.Clock{Zone: zone(t, "Australia/Lord_Howe")}
		at, err := clock.Parse(written)
		if err != nil || at.Format(time.RFC3339) != want {
			t.Errorf("%s: %v %v, want %s", written, at, err, want)
		}
	}
	clock := trial.Clock{Zone: zone(t, "Pacific/Apia")}
	if at, err := clock.Parse("2011-12-30 12:00"); err == nil {
		t.Errorf("a day that never was: %v", at)
	}
}

func TestClockRefuses(t *testing.T) {
	t.Parallel()
	for _, written := range []string{"", "12:00", "2026-07-21", "03/04/2026 14:05", "2026-02-30 12:00", "0001-01-01 00:00", "9999-01-01T00:00:00Z"} {
		clock := trial.Clock{Zone: time.UTC}
		if at, err := clock.Parse(written); err == nil {
			t.Errorf("%q: %v", written, at)
		}
	}
}
