package account_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"parstead/light"
	"parstead/light/account"
)

func stay(rack *light.Rack, p light.Position, from, until time.Time) light.Stay {
	if from.IsZero() {
		from = rack.Trial().From
	}
	if until.IsZero() {
		until = rack.Trial().Until
	}
	return light.Stay{Position: p, During: light.Span{From: from, Until: until}}
}

func plants(tb testing.TB, rack *light.Rack, src light.Source, o account.Options, w account.Window, stays ...account.PlantStay) []account.PlantLight {
	tb.Helper()
	o.Maps = ratios
	got, err := account.New(rack, src, o).Plants(tb.Context(), stays, w)
	if err != nil {
		tb.Fatal(err)
	}
	return got
}

// mapped is a rack whose light dims day by day, with a sensor and a light map.
func mapped(tb testing.TB) (*light.Rack, *light.Memory) {
	tb.Helper()
	rack, src := oneSensor(tb)
	walk(rack, local(tb, rack, "2026-10-20 10:00"), 80, 100, 90, 70, 50)
	return rack, src
}

// A plant that stands still has the sum of its position's days, up to its own
// harvest; the window is the same over part of them.
func TestPlantsAgreeWithDays(t *testing.T) {
	t.Parallel()
	rack, src := mapped(t)
	cut(src.Readings["centre"], local(t, rack, "2026-10-18 15:00"), local(t, rack, "2026-10-19 10:00"))
	days := allDays(t, rack, src, account.Options{})
	until := date(t, "2026-11-02")
	for _, c := range []struct {
		w        account.Window
		from, to string
	}{
		{account.Window{}, "2026-10-12", "2026-11-02"},
		{account.Window{First: 7}, "2026-10-12", "2026-10-18"},
		{account.Window{First: 99}, "2026-10-12", "2026-11-02"},
		{account.Window{Last: 3}, "2026-10-31", "2026-11-02"},
		{account.Window{Last: 99}, "2026-10-12", "2026-11-02"},
		{account.Window{From: date(t, "2026-10-20"), To: date(t, "2026-10-21")}, "2026-10-20", "2026-10-21"},
		{account.Window{From: date(t, "2026-10-30"), To: date(t, "2026-12-24")}, "2026-10-30", "2026-11-02"},
		{account.Window{From: date(t, "2026-11-03"), To: date(t, "2026-12-24")}, "2026-11-03", "2026-11-02"},
	} {
		got := plants(t, rack, src, account.Options{}, c.w, account.PlantStay{
			Code: "P1", Stays: []light.Stay{stay(rack, place(1, 1), time.Time{}, time.Time{})}, Until: until,
		})[0].Window
		var sum, squares, n, filled float64
		for _, d := range days {
			if d.Position == place(1, 1) && !d.Date.Before(date(t, c.from)) && !date(t, c.to).Before(d.Date) {
				sum += float64(d.DLI)
				filled += float64(d.DLI) * d.Filled
				squares += float64(d.DLI * d.DLI)
				n++
			}
		}
		if n == 0 {
			if got.Known || got.Days != 0 || got.Total != 0 {
				t.Errorf("%+v", got)
			}
			continue
		}
		near(t, "total", float64(got.Total), sum, 1e-12)
		near(t, "mean", float64(got.MeanDLI), sum/n, 1e-12)
		near(t, "spread", float64(got.Spread), math.Sqrt((squares-sum*sum/n)/(n-1)), 1e-6)
		near(t, "filled", got.Filled, filled/sum, 1e-12)
		near(t, "hours of light", got.Photoperiod, 14, 0.01)
		if got.Days != int(n) || got.Whole != int(n) || !got.Known || got.Source != account.FromMap || got.Missing != 0 {
			t.Errorf("%+v", got)
		}
	}
}

// Two plants that change places at noon: each has the light of the position it
// held, while it held it, and nothing is lost or counted twice.
func TestPlantsThatMove(t *testing.T) {
	t.Parallel()
	rack, src := mapped(t)
	*src.Readings["centre"] = *season(rack, lamp(rack.Zone, 100))
	noon := local(t, rack, "2026-10-26 12:00")
	a := account.PlantStay{Code: "A", Until: rack.Ends, Stays: []light.Stay{
		stay(rack, place(1, 1), time.Time{}, noon), stay(rack, place(2, 2), noon, time.Time{}),
	}}
	b := account.PlantStay{Code: "B", Until: rack.Ends, Stays: []light.Stay{
		stay(rack, place(2, 2), time.Time{}, noon), stay(rack, place(1, 1), noon, time.Time{}),
	}}
	got := plants(t, rack, src, account.Options{}, account.Window{}, a, b)
	near(t, "A", float64(got[0].Trial.Total), wholeDay(80)*(14+5.0/14)+wholeDay(50)*(13+9.0/14), 1e-3)
	near(t, "both", float64(got[0].Trial.Total+got[1].Trial.Total), wholeDay(130)*28, 1e-12)
	if got[0].Code != "A" || got[0].Trial.Whole != 28 {
		t.Errorf("%+v", got[0])
	}

	// A plant that came on the fifth day at noon: four days and a half are missing.
	late := account.PlantStay{Code: "C", Until: rack.Ends, Stays: []light.Stay{
		stay(rack, place(1, 1), local(t, rack, "2026-10-16 12:00"), time.Time{}),
	}}
	c := plants(t, rack, src, account.Options{}, account.Window{}, late)[0].Trial
	near(t, "missing", c.Missing, 4.5*24/(28*24+1), 1e-12)
	near(t, "mean of whole days", float64(c.MeanDLI), wholeDay(80), 1e-12)
	if c.Whole != 23 || c.Days != 28 {
		t.Errorf("%+v", c)
	}
}

func TestHoursAbove(t *testing.T) {
	t.Parallel()
	rack, src := mapped(t)
	// A triangle from 07:00 to 21:00 that peaks at 140 at the sensor.
	triangle := func(at time.Time) float64 {
		local := at.In(rack.Zone)
		h := float64(local.Hour()) + float64(local.Minute())/60
		return math.Max(0, 140*(1-math.Abs(h-14)/7))
	}
	*src.Readings["centre"] = *season(rack, triangle)
	for i := range rack.Survey { // walked while the light rises
		rack.Survey[i].Value *= triangle(rack.Survey[i].At) / 100
	}
	for p, ratio := range map[light.Position]float64{place(1, 2): 1, place(1, 1): 0.8, place(2, 2): 0.5} {
		got := plants(t, rack, src, account.Options{Level: 50}, account.Window{}, account.PlantStay{
			Code: "P", Stays: []light.Stay{stay(rack, p, time.Time{}, time.Time{})}, Until: rack.Ends,
		})[0].Trial
		near(t, "hours above 50", got.HoursAbove, 14*(1-50/(140*ratio)), 1e-9)
		near(t, "photoperiod", got.Photoperiod, 14*(1-1/(140*ratio)), 1e-9)
	}
}

// With two sensors the more precise one tells the hours, brought to the place by
// the ratio of the two places.
func TestHoursAboveThroughTheMap(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1)), quantum("b", place(1, 2))}
	rack.Sensors[1].RelativeError = 0.04
	lit := lamp(rack.Zone, 1)
	src := &light.Memory{Readings: map[string]*light.Series{
		"a": season(rack, func(at time.Time) float64 { return 80 * lit(at) }), "b": season(rack, func(at time.Time) float64 { return 100 * lit(at) }),
	}}
	walk(rack, local(t, rack, "2026-10-20 10:00"), 80, 100, 90, 70, 50, 60)
	for level, want := range map[light.PPFD]float64{48: 14, 52: 0} {
		got := plants(t, rack, src, account.Options{Level: level}, account.Window{}, account.PlantStay{
			Code: "P", Stays: []light.Stay{stay(rack, place(2, 2), time.Time{}, time.Time{})}, Until: rack.Ends,
		})[0].Trial
		near(t, "hours above", got.HoursAbove, want, 0.01)
	}
}

func TestPlantsWithoutLight(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	got := plants(t, rack, &light.Memory{}, account.Options{}, account.Window{}, account.PlantStay{
		Code: "P", Stays: []light.Stay{stay(rack, place(1, 1), time.Time{}, time.Time{})}, Until: rack.Ends,
	}, account.PlantStay{Code: "Q", Until: date(t, "2026-01-01")})
	for _, p := range got {
		if p.Trial.Known || p.Trial.Total != 0 || !math.IsNaN(p.Trial.Photoperiod) {
			t.Errorf("%+v", p)
		}
	}
	if got[0].Trial.Missing != 1 || got[1].Trial.Days != 0 {
		t.Errorf("%+v", got)
	}
	_, err := account.New(rack, &light.Memory{}, account.Options{}).Plants(t.Context(), []account.PlantStay{{
		Code: "P", Stays: []light.Stay{{Position: light.Position{Bin: "attic", Row: 1, Column: 1}}},
	}}, account.Window{})
	if err == nil || !strings.Contains(err.Error(), "attic") {
		t.Errorf("%v", err)
	}
}

// While a trial runs only days that are over count.
func TestPlantsOfARunningTrial(t *testing.T) {
	t.Parallel()
	rack, src := mapped(t)
	p := account.PlantStay{Code: "P", Stays: []light.Stay{stay(rack, place(1, 1), time.Time{}, time.Time{})}, Until: rack.Ends}
	now := local(t, rack, "2026-10-20 14:00")
	running := plants(t, rack, src, account.Options{Now: func() time.Time { return now }}, account.Window{}, p)
	p.Until = date(t, "2026-10-19")
	over := plants(t, rack, src, account.Options{}, account.Window{}, p)
	if diff := cmp.Diff(over, running, cmpopts.EquateNaNs()); diff != "" {
		t.Error(diff)
	}
}
