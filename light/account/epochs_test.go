package account_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// changed lists the dates on which any figure differs.
func changed(tb testing.TB, before, after []account.Day) (dates []string) {
	tb.Helper()
	if len(before) != len(after) {
		tb.Fatalf("%d figures and %d", len(before), len(after))
	}
	for i := range before {
		if d := before[i].Date.String(); before[i] != after[i] && !slices.Contains(dates, d) {
			dates = append(dates, d)
		}
	}
	slices.Sort(dates)
	return dates
}

// dates are those from one to another, both included.
func dates(tb testing.TB, from, to string) (list []string) {
	tb.Helper()
	for d := date(tb, from); !date(tb, to).Before(d); d = d.Add(1) {
		list = append(list, d.String())
	}
	return list
}

// What is entered late reaches back over exactly the days that it is about: by
// the maps of package field, over a lamp that was moved on 22 October.
func TestWhatIsEnteredLateChangesExactlyItsDays(t *testing.T) {
	t.Parallel()
	const first, last = "2026-10-12", "2026-11-08"
	moved := "2026-10-22 12:00"
	build := func() (*light.Rack, *light.Memory) {
		rack := newRack(t)
		chip := quantum("chip", place(1, 2))
		chip.Measures, chip.High = light.QuantityLux, 150000
		rack.Sensors = []light.Sensor{chip}
		walk(rack, local(t, rack, "2026-10-15 10:00"), 80, 100, 90, 70, 50, 60)
		src := &light.Memory{
			Readings: map[string]*light.Series{"chip": season(rack, lamp(rack.Zone, 6700))},
			Log:      []light.Event{{ID: 1, Kind: light.LampMoved, Bin: "upper", At: local(t, rack, moved)}},
		}
		return rack, src
	}
	for what, c := range map[string]struct {
		change func(*light.Rack, *light.Memory)
		want   []string
	}{
		"nothing": {func(*light.Rack, *light.Memory) {}, nil},
		"a late survey": {func(r *light.Rack, _ *light.Memory) {
			walk(r, local(t, r, "2026-10-27 10:00"), 60, 100, 90, 70, 50, 80)
		}, dates(t, "2026-10-27", last)},
		"a corrected survey":             {func(r *light.Rack, _ *light.Memory) { r.Survey[3].Value = 75 }, dates(t, first, "2026-10-22")},
		"a corrected factor of the lamp": {func(r *light.Rack, _ *light.Memory) { r.Lamps[0].LuxPerPPFD = 70 }, dates(t, first, last)},
		"a factor from a day on": {func(r *light.Rack, _ *light.Memory) {
			other := r.Lamps[0]
			hung := r.Day(date(t, "2026-11-01")).From
			r.Lamps[0].During.Until, other.During.From, other.LuxPerPPFD = hung, hung, 70
			r.Lamps = append(r.Lamps, other)
		}, dates(t, "2026-11-01", last)},
		"the note withdrawn": {func(_ *light.Rack, m *light.Memory) {
			m.Log = append(m.Log, light.Event{ID: 2, Kind: light.Withdrawn, Withdraws: 1})
		}, dates(t, "2026-10-22", last)},
		"a note about the past": {func(r *light.Rack, m *light.Memory) {
			m.Log = append(m.Log, light.Event{ID: 2, Kind: light.ReflectorChanged, Bin: "upper", At: local(t, r, "2026-10-18 09:00"), Written: r.Trial().Until})
		}, dates(t, "2026-10-18", "2026-10-22")},
		"a stretch ignored": {func(r *light.Rack, m *light.Memory) {
			m.Log = append(m.Log, light.Event{ID: 2, Kind: light.Ignore, Sensor: "chip", During: light.Span{From: local(t, r, "2026-10-30 00:01"), Until: local(t, r, "2026-10-30 23:59")}})
		}, dates(t, "2026-10-30", "2026-10-30")},
	} {
		rack, src := build()
		before, err := account.New(rack, src, account.Options{}).Days(t.Context(), rack.Starts, rack.Ends)
		if err != nil {
			t.Fatal(err)
		}
		c.change(rack, src)
		after, err := account.New(rack, src, account.Options{}).Days(t.Context(), rack.Starts, rack.Ends)
		if err != nil {
			t.Fatal(err)
		}
		if got := changed(t, before, after); !slices.Equal(got, c.want) {
			t.Errorf("%s changed %v, want %v", what, got, c.want)
		}
	}
}

// Which map is in use is told, and the stretch without one.
func TestMapsInUse(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	walk(rack, local(t, rack, "2026-10-15 10:00"), 80, 100, 90, 70, 50, 60)
	walk(rack, local(t, rack, "2026-10-24 10:00"), 60, 100, 90, 70, 50)
	src := &light.Memory{
		Readings: map[string]*light.Series{"centre": season(rack, lamp(rack.Zone, 100))},
		Log:      []light.Event{{ID: 1, Kind: light.LampMoved, At: local(t, rack, "2026-10-22 12:00")}},
	}
	s, err := account.New(rack, src, account.Options{}).Season(t.Context(), rack.Starts, rack.Ends)
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Maps) != 3 {
		t.Fatalf("%+v", s.Maps)
	}
	for i, want := range []string{
		"light map of 2026-10-15 until 2026-10-22 12:00: 6 readings at 6 positions, smoothed, ",
		"no light map from 2026-10-22 12:00 until 2026-10-24 10:00: every position has the light that the bin's sensors show, with 20 % of error",
		"light map of 2026-10-24 from 2026-10-24 10:00: 5 readings at 5 positions, smoothed, ",
	} {
		if got := s.Maps[i].Words(rack.Zone); !strings.HasPrefix(got, want) {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if len(s.Remarks) != 1 || !strings.Contains(s.Remarks[0], "Bin upper: no light map from 2026-10-22 12:00") {
		t.Errorf("%q", s.Remarks)
	}
	at := local(t, rack, "2026-10-23 10:00")
	s, err = account.New(rack, src, account.Options{Now: func() time.Time { return at }}).Season(t.Context(), date(t, "2026-10-23"), date(t, "2026-10-23"))
	if err != nil || len(s.Maps) != 1 || s.Maps[0].Method != "" {
		t.Errorf("%+v, %v", s, err)
	}
	if f := find(t, s.Days, place(1, 1), "2026-10-23"); f.Source != account.FromBin || f.Error.Total() < 0.2 {
		t.Errorf("%+v", f)
	}
}
