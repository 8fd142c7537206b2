package account_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// noisy are readings of the trial with 0.4 % noise, so that none equals the last.
func noisy(rack *light.Rack, ppfd float64, seed uint64) *light.Series {
	random := rand.New(rand.NewPCG(seed, 2026))
	lit := lamp(rack.Zone, ppfd)
	return season(rack, func(at time.Time) float64 { return lit(at) * (1 + 0.004*random.NormFloat64()) })
}

// change rewrites what a sensor reads in a stretch.
func change(s *light.Series, from, until time.Time, value func(float64) float64) {
	for i, at := range s.Times {
		if at >= from.UnixNano() && at < until.UnixNano() {
			s.Values[i] = value(s.Values[i])
		}
	}
}

func seasonOf(tb testing.TB, rack *light.Rack, src light.Source) *account.Season {
	tb.Helper()
	s, err := account.New(rack, src, account.Options{Maps: ratios}).Season(tb.Context(), rack.Starts, rack.Ends)
	if err != nil {
		tb.Fatal(err)
	}
	return s
}

// about keeps the remarks that name a sensor.
func about(remarks []string, sensor string) []string {
	return slices.DeleteFunc(slices.Clone(remarks), func(s string) bool { return !strings.HasPrefix(s, "Sensor "+sensor+" ") })
}

// The only sensor of a bin sends one value for 51 hours: nobody reads then, and
// the hours are filled from other days.
func TestStuckSensorIsSetAside(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1))}
	s := noisy(rack, 100, 1)
	from, until := local(t, rack, "2026-10-20 15:10"), local(t, rack, "2026-10-22 18:10")
	change(s, from, until, func(float64) float64 { return 97.5 })
	src := &light.Memory{Readings: map[string]*light.Series{"a": s}}
	got := seasonOf(t, rack, src)
	for _, d := range []string{"2026-10-20", "2026-10-21", "2026-10-22"} {
		f := find(t, got.Days, place(1, 1), d)
		near(t, d, float64(f.DLI), wholeDay(100), 0.003)
	}
	if f := find(t, got.Days, place(1, 1), "2026-10-21"); f.Covered != 0 || f.Filled != 1 {
		t.Errorf("%+v", f)
	}
	told := about(got.Remarks, "a")
	if len(told) != 1 || !strings.Contains(told[0], "is set aside from 2026-10-20 15:10 until 2026-10-22 18:05") || !strings.Contains(told[0], "same value") {
		t.Errorf("%q", told)
	}
	// A day asked for alone has the same figure.
	for d := date(t, "2026-10-19"); d.Before(date(t, "2026-10-24")); d = d.Add(1) {
		alone, err := account.New(rack, src, account.Options{Maps: ratios}).Days(t.Context(), d, d)
		if err != nil {
			t.Fatal(err)
		}
		near(t, d.String(), float64(alone[0].DLI), float64(find(t, got.Days, place(1, 1), d.String()).DLI), 1e-12)
	}
}

// A run that misses no switching on its first or its last day is found all the
// same when such a day is asked for alone.
func TestStuckRunIsFoundFromAnyDay(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1))}
	s := noisy(rack, 100, 1)
	change(s, local(t, rack, "2026-10-20 20:45"), local(t, rack, "2026-10-22 05:00"), func(float64) float64 { return 97.5 })
	src := &light.Memory{Readings: map[string]*light.Series{"a": s}}
	got := seasonOf(t, rack, src)
	for _, d := range []string{"2026-10-20", "2026-10-21", "2026-10-22"} {
		near(t, d, float64(find(t, got.Days, place(1, 1), d).DLI), wholeDay(100), 0.003)
		alone, err := account.New(rack, src, account.Options{Maps: ratios}).Days(t.Context(), date(t, d), date(t, d))
		if err != nil {
			t.Fatal(err)
		}
		near(t, d+" alone", float64(find(t, alone, place(1, 1), d).DLI), float64(find(t, got.Days, place(1, 1), d).DLI), 1e-12)
	}
}

// Equal darkness is no fault: a lamp that is out all day.
func TestEqualDarknessIsBelieved(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1)), quantum("b", place(2, 3))}
	src := &light.Memory{Readings: map[string]*light.Series{"a": noisy(rack, 100, 1), "b": noisy(rack, 60, 2)}}
	for _, s := range src.Readings {
		change(s, local(t, rack, "2026-10-20 10:00"), local(t, rack, "2026-10-22 17:00"), func(float64) float64 { return 0 })
	}
	// One of them has an offset, which is no lamp's light.
	change(src.Readings["b"], local(t, rack, "2026-10-20 21:00"), local(t, rack, "2026-10-22 07:00"), func(float64) float64 { return 0.3 })
	got := seasonOf(t, rack, src)
	if f := find(t, got.Days, place(1, 1), "2026-10-21"); f.DLI != 0 || f.Covered != 1 {
		t.Errorf("%+v", f)
	}
	if told := slices.Concat(about(got.Remarks, "a"), about(got.Remarks, "b")); len(told) != 0 {
		t.Errorf("%q", told)
	}
}

// Of three sensors one is shaded, dirtied day by day, stuck at nothing or at its
// ceiling: it is set aside while it lasts, named, and its place has the map's light.
func TestSensorThatPartsFromTheOthers(t *testing.T) {
	t.Parallel()
	for what, c := range map[string]struct {
		value func(rack *light.Rack, at time.Time, v float64) float64
		says  string
		day   string // by which it is known
	}{
		"shaded": {func(_ *light.Rack, _ time.Time, v float64) float64 { return 0.7 * v }, "share", "2026-10-24"},
		"dirtied": {func(rack *light.Rack, at time.Time, v float64) float64 {
			return v * (1 - 0.04*float64(date(t, "2026-10-21").DaysUntil(rack.DateAt(at))))
		}, "share", "2026-10-27"},
		"dead": {func(*light.Rack, time.Time, float64) float64 { return 0 }, "dark", "2026-10-24"},
	} {
		t.Run(what, func(t *testing.T) {
			t.Parallel()
			rack := newRack(t)
			rack.Sensors = []light.Sensor{quantum("a", place(1, 1)), quantum("b", place(1, 2)), quantum("c", place(2, 3))}
			src := &light.Memory{Readings: map[string]*light.Series{"a": noisy(rack, 80, 1), "b": noisy(rack, 100, 2), "c": noisy(rack, 60, 3)}}
			walk(rack, local(t, rack, "2026-10-13 10:00"), 80, 100, 90, 70, 50, 60)
			clean := seasonOf(t, rack, src)
			if len(clean.Remarks) != 0 {
				t.Fatalf("told of sound sensors: %q", clean.Remarks)
			}
			s := src.Readings["b"]
			from, until := rack.Day(date(t, "2026-10-22")).From, rack.Day(date(t, "2026-11-01")).From
			for i, at := range s.Times {
				if at >= from.UnixNano() && at < until.UnixNano() {
					s.Values[i] = c.value(rack, time.Unix(0, at), s.Values[i])
				}
			}
			got := seasonOf(t, rack, src)
			told := about(got.Remarks, "b")
			if len(told) != 1 || !strings.Contains(told[0], c.says) || !strings.Contains(told[0], "until 2026-11-01 00:00") {
				t.Errorf("%q", told)
			}
			if others := slices.Concat(about(got.Remarks, "a"), about(got.Remarks, "c")); len(others) != 0 {
				t.Errorf("%q", others)
			}
			f := find(t, got.Days, place(1, 2), c.day)
			near(t, "its own place", float64(f.DLI), wholeDay(100), 0.01)
			if f.Source != account.FromMap {
				t.Errorf("%+v", f)
			}
			near(t, "elsewhere", float64(find(t, got.Days, place(1, 3), c.day).DLI), wholeDay(90), 0.01)
			after := find(t, got.Days, place(1, 2), "2026-11-02")
			if after.Source != account.FromSensor {
				t.Errorf("not taken back: %+v", after)
			}
		})
	}
}

// Of two sensors that part neither is the wrong one, unless one is dark.
func TestTwoSensorsThatPart(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		share float64
		says  string
		want  float64 // PPFD at the sensor that changed
	}{
		{0.7, "in doubt", 70},
		{0, "set aside", 100},
	} {
		rack := newRack(t)
		rack.Sensors = []light.Sensor{quantum("a", place(1, 1)), quantum("b", place(1, 2))}
		src := &light.Memory{Readings: map[string]*light.Series{"a": noisy(rack, 80, 1), "b": noisy(rack, 100, 2)}}
		walk(rack, local(t, rack, "2026-10-13 10:00"), 80, 100, 90, 70, 50, 60)
		change(src.Readings["b"], rack.Day(date(t, "2026-10-22")).From, rack.Day(date(t, "2026-11-01")).From, func(v float64) float64 { return c.share * v })
		got := seasonOf(t, rack, src)
		if told := about(got.Remarks, "b"); len(told) != 1 || !strings.Contains(told[0], c.says) {
			t.Errorf("%q", told)
		}
		f := find(t, got.Days, place(1, 2), "2026-10-25")
		near(t, "its place", float64(f.DLI), wholeDay(c.want), 0.01)
		if before := find(t, got.Days, place(1, 2), "2026-10-15"); c.share > 0 && (f.Error.Total() < 0.2 || math.Abs(before.Error.Total()-0.05) > 1e-12) {
			t.Errorf("errors %v and before %v", f.Error, before.Error)
		}
	}
}

// Three equal readings an hour about a switching that came late are no proof.
func TestFewEqualReadingsAreBelieved(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	slow := quantum("a", place(1, 1))
	slow.Every, slow.MaxGap = 30*time.Minute, 5*time.Hour
	rack.Sensors = []light.Sensor{slow}
	all, s := noisy(rack, 100, 1), &light.Series{}
	for i, at := range all.Times {
		if at%int64(30*time.Minute) == 0 {
			s.Add(time.Unix(0, at), all.Values[i], 0)
		}
	}
	change(s, local(t, rack, "2026-10-20 20:30"), local(t, rack, "2026-10-20 21:31"), func(float64) float64 { return 100 })
	got := seasonOf(t, rack, &light.Memory{Readings: map[string]*light.Series{"a": s}})
	if told := about(got.Remarks, "a"); len(told) != 0 {
		t.Errorf("%q", told)
	}
}
