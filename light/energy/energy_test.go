package energy_test

import (
	"math"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/energy"
)

func clock(t *testing.T, s string) light.TimeOfDay {
	t.Helper()
	c, err := light.ParseTimeOfDay(s)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func lamp(t *testing.T, name string, watts float64, on, off string) light.Lamp {
	t.Helper()
	return light.Lamp{Name: name, Watts: watts, On: []light.TimeOfDay{clock(t, on)}, Off: []light.TimeOfDay{clock(t, off)}}
}

func bin(name string, rows, columns int, lamps ...string) light.Bin {
	return light.Bin{Name: name, Rows: rows, Columns: columns, PitchRows: 10, PitchColumns: 10, Lamps: lamps}
}

// spring is a rack over 105 light days of a zone.
func spring(t *testing.T, zone string) *light.Rack {
	t.Helper()
	z, err := time.LoadLocation(zone)
	if err != nil {
		t.Fatal(err)
	}
	return &light.Rack{
		Calendar: light.Calendar{Zone: z},
		Starts:   light.Date{Year: 2026, Month: 3, Day: 2}, Ends: light.Date{Year: 2026, Month: 6, Day: 14},
	}
}

func same(got, want float64) bool {
	return math.IsNaN(got) && math.IsNaN(want) || math.Abs(got-want) <= 1e-9*max(1, math.Abs(want))
}

// By hand: 1 kW for 14 h a day through 105 days is 1470 kWh, also over the day of 23
// hours, which the timer does not touch.
func TestKilowattThroughASpring(t *testing.T) {
	t.Parallel()
	rack := spring(t, "Europe/Lisbon")
	rack.Lamps = []light.Lamp{lamp(t, "bar", 1000, "07:00", "21:00")}
	rack.Bins = []light.Bin{bin("upper", 6, 8, "bar")}
	u := energy.Over(rack, nil, rack.Trial(), nil)
	if !same(u.KWh(), 1470) || !same(u.Days, 105) || !same(u.Bins[0].Lamps, 1470) || !same(u.Bins[0].LitHours, 14) {
		t.Errorf("%+v, want 1470 kWh", u)
	}
}

func TestHoursOfLamps(t *testing.T) {
	t.Parallel()
	day := func(month time.Month, d, hour int) time.Time {
		return time.Date(2026, month, d, hour, 0, 0, 0, time.UTC)
	}
	for _, c := range []struct {
		what  string
		zone  string
		on    string
		off   string
		bound light.Span
		cuts  []energy.Cut
		hours float64
	}{
		// 105 nights of 8 h; the trial begins and ends inside one, at midnight.
		{"across midnight", "UTC", "22:00", "06:00", light.Span{}, nil, 105 * 8},
		// 00:00 to 04:00 lasts 3 h on 29 March in Lisbon.
		{"over the hour that is skipped", "Europe/Lisbon", "00:00", "04:00", light.Span{}, nil, 105*4 - 1},
		// On day and night: 105 days less the hour.
		{"always on", "Europe/Lisbon", "06:00", "06:00", light.Span{}, nil, 105*24 - 1},
		{"hung at noon of 2 June", "UTC", "07:00", "21:00", light.Span{From: day(6, 2, 12)}, nil, 9 + 12*14},
		{"taken down at noon of 4 March", "UTC", "07:00", "21:00", light.Span{Until: day(3, 4, 12)}, nil, 2*14 + 5},
		// Cut from 20:00 to 08:00: an hour in the evening and one in the morning; the second cut falls into the dark, the third on another bin.
		{"cut", "UTC", "07:00", "21:00", light.Span{}, []energy.Cut{
			{During: light.Span{From: day(4, 1, 20), Until: day(4, 2, 8)}},
			{Bin: "upper", During: light.Span{From: day(4, 7, 22), Until: day(4, 7, 23)}},
			{Bin: "other", During: light.Span{From: day(4, 9, 8), Until: day(4, 9, 12)}},
		}, 105*14 - 2},
	} {
		rack := spring(t, c.zone)
		l := lamp(t, "bar", 50, c.on, c.off)
		l.During = c.bound
		rack.Lamps = []light.Lamp{l}
		rack.Bins = []light.Bin{bin("upper", 6, 8, "bar"), bin("other", 6, 8)}
		u := energy.Over(rack, nil, rack.Trial(), c.cuts)
		if d := u.Draws[0]; !same(d.Hours, c.hours) || !same(d.KWh, c.hours*0.05) || !same(u.Bins[0].LitHours, c.hours/105) || u.Bins[1].Lamps != 0 {
			t.Errorf("%s: %v h and %v kWh, want %v h", c.what, d.Hours, d.KWh, c.hours)
		}
	}
}

// What serves several bins is shared by area: 48 places here, 24 and 24 there.
func TestShares(t *testing.T) {
	t.Parallel()
	rack := spring(t, "UTC")
	rack.Lamps = []light.Lamp{
		lamp(t, "tube", 100, "08:00", "18:00"),  // 105 kWh over all three
		lamp(t, "bar", 20, "08:00", "18:00"),    // 21 kWh over the third
		lamp(t, "spare", 999, "00:00", "00:00"), // in no bin
	}
	rack.Bins = []light.Bin{bin("a", 6, 8, "tube"), bin("b", 4, 6, "tube"), bin("c", 4, 6, "tube", "bar")}
	loads := []energy.Load{{Name: "pump", Watts: 40, HoursPerDay: 2.5, Bins: []string{"a", "c"}}} // 10.5 kWh
	u := energy.Over(rack, loads, rack.Trial(), nil)
	for i, want := range []struct{ lamps, loads float64 }{{52.5, 7}, {26.25, 0}, {26.25 + 21, 3.5}} {
		if b := u.Bins[i]; !same(b.Lamps, want.lamps) || !same(b.Loads, want.loads) {
			t.Errorf("%s: %v and %v kWh, want %v", b.Bin, b.Lamps, b.Loads, want)
		}
	}
	sum := 0.0
	for _, b := range u.Bins {
		sum += b.KWh()
	}
	if !same(u.KWh(), 105+21+10.5) || !same(sum, u.KWh()) || len(u.Draws) != 3 {
		t.Errorf("%v kWh in %d draws, the bins' %v", u.KWh(), len(u.Draws), sum)
	}
}

// A new lamp in place of the old one is a draw of its own; one without watts or
// timer leaves its bin unknown, and no other.
func TestUnknownStaysUnknown(t *testing.T) {
	t.Parallel()
	rack := spring(t, "UTC")
	changed := time.Date(2026, 4, 20, 12, 0, 0, 0, time.UTC)
	old, after := lamp(t, "bar", 48, "07:00", "21:00"), lamp(t, "bar", 40, "07:00", "21:00")
	old.During.Until, after.During.From = changed, changed
	gone := lamp(t, "bar", 0, "07:00", "21:00")
	gone.During.Until = rack.Trial().From
	rack.Lamps = []light.Lamp{old, after, gone, lamp(t, "dim", 0, "07:00", "21:00"), {Name: "loose", Watts: 30}}
	rack.Bins = []light.Bin{bin("a", 2, 3, "bar"), bin("b", 2, 3, "dim"), bin("c", 2, 3, "loose")}
	u := energy.Over(rack, nil, rack.Trial(), nil)
	const before = 49*14 + 5 // 2 March to 19 April, and the morning of the 20th
	if want := before*0.048 + (105*14-before)*0.040; !same(u.Bins[0].Lamps, want) {
		t.Errorf("%v kWh, want %v", u.Bins[0].Lamps, want)
	}
	if !math.IsNaN(u.Bins[1].KWh()) || !math.IsNaN(u.Bins[2].KWh()) || !math.IsNaN(u.KWh()) || len(u.Draws) != 4 {
		t.Errorf("%+v", u)
	}
}

// A span that ends in the middle of a day counts the part that has passed.
func TestPartOfADay(t *testing.T) {
	t.Parallel()
	rack := spring(t, "Europe/Lisbon")
	rack.Lamps = []light.Lamp{lamp(t, "bar", 100, "07:00", "21:00")}
	rack.Bins = []light.Bin{bin("a", 2, 3, "bar")}
	during := rack.Trial()
	during.Until = time.Date(2026, 3, 29, 12, 0, 0, 0, rack.Zone) // 11 of 23 hours
	loads := []energy.Load{{Name: "pump", Watts: 1000, HoursPerDay: 1, Bins: []string{"a"}}}
	u := energy.Over(rack, loads, during, nil)
	if want := 27 + 11.0/23; !same(u.Days, want) || !same(u.Bins[0].Loads, want) || !same(u.Bins[0].Lamps, (27*14+5)*0.1) {
		t.Errorf("%v days, %+v", u.Days, u.Bins[0])
	}
}

// By hand: two positions of 0.01 m² get 4 and 6 mol m⁻² a day for two days: 20 mol
// m⁻² in the mean of both, times 0.02 m².
func TestDelivered(t *testing.T) {
	t.Parallel()
	rack := spring(t, "UTC")
	rack.Bins = []light.Bin{bin("a", 1, 2), bin("dark", 1, 2)}
	var days []account.Day
	for column := 1; column <= 2; column++ {
		for d := range 2 {
			days = append(days, account.Day{
				Date: rack.Starts.Add(d), Position: light.Position{Bin: "a", Row: 1, Column: column},
				Figure: account.Figure{Known: true, DLI: light.DLI(2 + 2*column), Covered: 0.75, Filled: 0.25, Error: account.Error{Bin: 0.1}, Source: account.FromMap},
			})
		}
	}
	got := energy.DeliveredTo(rack, days)
	if len(got) != 1 {
		t.Fatalf("%+v", got)
	}
	d := got[0]
	if !same(d.Mol, 0.2) || !same(d.MeanDLI, 5) || !same(d.Dark, 8) || !same(d.Light, 12) || d.Positions != 2 || !same(d.Error, 0.1) || !same(d.Filled, 0.25) || d.Missing != 0 || d.Source != account.FromMap {
		t.Errorf("%+v", d)
	}
}

// A photon of 700 nm carries 2.838e-19 J (h c / λ), a mole of them 0.1709 MJ.
func TestNoLampIsBetterThanPhysics(t *testing.T) {
	t.Parallel()
	if math.Abs(energy.MostMolPerKWh-21.07) > 0.01 {
		t.Errorf("%v mol a kWh", energy.MostMolPerKWh)
	}
}
