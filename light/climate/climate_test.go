package climate_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
	"parstead/light/climate"
)

func date(tb testing.TB, s string) light.Date {
	tb.Helper()
	d, err := light.ParseDate(s)
	if err != nil {
		tb.Fatal(err)
	}
	return d
}

func newRack(tb testing.TB) *light.Rack {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		tb.Fatal(err)
	}
	hour := func(h int) light.TimeOfDay { return light.TimeOfDay(time.Duration(h) * time.Hour) }
	return &light.Rack{
		Calendar: light.Calendar{Zone: zone},
		Starts:   date(tb, "2026-10-23"), Ends: date(tb, "2026-10-27"),
		Bins:        []light.Bin{{Name: "upper", Rows: 2, Columns: 2, Lamps: []string{"bar"}}, {Name: "empty"}},
		Lamps:       []light.Lamp{{Name: "bar", On: []light.TimeOfDay{hour(18)}, Off: []light.TimeOfDay{hour(8)}}},
		BaseCelsius: 10, HasBase: true,
		Limits: light.Limits{Celsius: &[2]float64{16, 30}, Humidity: &[2]float64{40, 95}},
	}
}

func sensor(name string, q light.Quantity) light.Sensor {
	low, high := q.Valid()
	return light.Sensor{
		Name: name, Measures: q, Position: light.Position{Bin: "upper"},
		Every: 5 * time.Minute, MaxGap: 50 * time.Minute, Scale: 1, Low: low, High: high,
	}
}

// season reads a function of local hours every five minutes.
func season(rack *light.Rack, value func(at time.Time) float64) *light.Series {
	s := &light.Series{}
	trial := rack.Trial()
	for t := trial.From.Add(-time.Hour); !t.After(trial.Until.Add(time.Hour)); t = t.Add(5 * time.Minute) {
		s.Add(t, value(t.In(rack.Zone)), 0)
	}
	return s
}

func days(tb testing.TB, rack *light.Rack, src light.Source, o climate.Options) []climate.Day {
	tb.Helper()
	got, err := climate.Days(tb.Context(), rack, src, o, rack.Starts, rack.Ends)
	if err != nil {
		tb.Fatal(err)
	}
	return got
}

func near(tb testing.TB, what string, got, want, tolerance float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= tolerance) && !(math.IsNaN(got) && math.IsNaN(want)) {
		tb.Errorf("%s: %v, want %v", what, got, want)
	}
}

// The lamp is lit from 18 to 8; air of 24 °C and 60 % under it, 14 °C and 80 % in
// the dark. The day of 25 hours has one hour more of light.
func TestDays(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	lit := func(at time.Time) bool { return at.Hour() >= 18 || at.Hour() < 8 }
	rack.Sensors = []light.Sensor{sensor("air", light.QuantityTemperature), sensor("damp", light.QuantityHumidity)}
	src := &light.Memory{Readings: map[string]*light.Series{
		"air": season(rack, func(at time.Time) float64 {
			if lit(at) {
				return 24
			}
			return 14
		}),
		"damp": season(rack, func(at time.Time) float64 {
			if lit(at) {
				return 60
			}
			return 80
		}),
	}}
	got := days(t, rack, src, climate.Options{})
	if len(got) != 5 {
		t.Fatalf("%d days", len(got))
	}
	for _, d := range got {
		hours := rack.Day(d.Date).Length().Hours()
		// Switching takes the line between two readings, five minutes before each.
		near(t, "light", d.LightMean, 24, 0.05)
		near(t, "dark", d.DarkMean, 14, 0.05)
		near(t, "humidity light", d.HumidityLight, 60, 0.1)
		near(t, "humidity dark", d.HumidityDark, 80, 0.1)
		near(t, "min", d.Min, 14, 0)
		near(t, "max", d.Max, 24, 0)
		near(t, "vpd light", d.VPDLight, climate.VapourPressureDeficit(24, 60), 0.01)
		near(t, "vpd dark", d.VPDDark, climate.VapourPressureDeficit(14, 80), 0.01)
		near(t, "degree-days", d.DegreeDays, 9, 1e-12) // (24 + 14)/2 − 10
		near(t, "cold", d.Cold, 10, 0.1)
		near(t, "hot", d.Hot, 0, 0)
		near(t, "dry", d.Dry, 0, 0)
		near(t, "damp", d.Damp, 0, 0)
		near(t, "covered", d.Covered, 1, 0)
		if d.Date == date(t, "2026-10-25") && hours != 25 {
			t.Error("no clock change met")
		}
	}
}

// A sine over the day, by formula: mean, hours above a limit, and the deficit
// against a sum over every second.
func TestSine(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Lamps[0].On, rack.Lamps[0].Off = []light.TimeOfDay{0}, []light.TimeOfDay{0} // always on
	celsius := func(at time.Time) float64 {
		h := float64(at.Hour()) + float64(at.Minute())/60 + float64(at.Second())/3600
		return 25 + 10*math.Sin(2*math.Pi*h/24)
	}
	rack.Sensors = []light.Sensor{sensor("air", light.QuantityTemperature), sensor("damp", light.QuantityHumidity)}
	src := &light.Memory{Readings: map[string]*light.Series{
		"air":  season(rack, celsius),
		"damp": season(rack, func(time.Time) float64 { return 50 }),
	}}
	got := days(t, rack, src, climate.Options{})[0]
	near(t, "mean", got.LightMean, 25, 1e-9)
	near(t, "no dark", got.DarkMean, math.NaN(), 0)
	near(t, "hot", got.Hot, 8, 0.01)                           // above 30: sin > ½ for a third of the day
	near(t, "cold", got.Cold, 24*math.Acos(0.9)/math.Pi, 0.02) // below 16: sin < −0.9
	near(t, "degree-days", got.DegreeDays, 15, 1e-9)
	sum := 0.0
	start := rack.Day(rack.Starts).From
	for s := range 86400 {
		sum += climate.VapourPressureDeficit(celsius(start.Add(time.Duration(s)*time.Second).In(rack.Zone)), 50) / 86400
	}
	near(t, "deficit", got.VPDLight, sum, 1e-4)
}

func TestWhatIsNotKnownIsAbsent(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{sensor("air", light.QuantityTemperature)}
	src := &light.Memory{Readings: map[string]*light.Series{"air": season(rack, func(time.Time) float64 { return -1 })}}
	// Half of the second day is silent; the log sets the third aside.
	second := rack.Day(rack.Starts.Add(1))
	air := src.Readings["air"]
	kept := 0
	for i, at := range air.Times {
		if at > second.From.UnixNano() && at < second.From.Add(12*time.Hour).UnixNano() {
			continue
		}
		air.Times[kept], air.Values[kept] = at, air.Values[i]
		kept++
	}
	air.Times, air.Values = air.Times[:kept], air.Values[:kept]
	src.Log = []light.Event{
		{ID: 1, Kind: light.Ignore, Sensor: "air", During: rack.Day(rack.Starts.Add(2))},
		{ID: 2, Kind: light.Mute, Sensor: "air", During: rack.Day(rack.Starts)},
		{ID: 3, Kind: light.Ignore, Sensor: "air"}, // without a stretch it sets nothing aside
		{ID: 4, Kind: light.Ignore, Sensor: "damp", During: rack.Day(rack.Starts)},
		{ID: 5, Kind: light.Other, Sensor: "air", During: rack.Day(rack.Starts)},
	}
	got := days(t, rack, src, climate.Options{})
	near(t, "minus one degree is a temperature", got[0].LightMean, -1, 1e-12)
	near(t, "frost", got[0].Cold, 24, 1e-9)
	near(t, "no degree-days of half a day", got[1].DegreeDays, math.NaN(), 0)
	near(t, "half covered, to the last reading before the one set aside", got[1].Covered, 0.5-5.0/1440, 1e-12)
	for i, want := range []string{
		`{"date":"2026-10-23","bin":"upper","light_mean":-1,"dark_mean":-1,"min":-1,"max":-1,"degree_days":0,"hours_cold":24,"hours_hot":0,"covered":1}`,
		"",
		`{"date":"2026-10-25","bin":"upper","covered":0}`,
	} {
		if want == "" {
			continue
		}
		text, err := json.Marshal(got[i])
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, string(text)); diff != "" {
			t.Error(diff)
		}
	}
	rack.Bins[0].Lamps = nil
	got = days(t, rack, src, climate.Options{})
	near(t, "no lamp, no light", got[0].LightMean, math.NaN(), 0)
	near(t, "no lamp, no dark", got[0].DarkMean, math.NaN(), 0)
	near(t, "but a lowest", got[0].Min, -1, 0)
	rack.Sensors = nil
	if got = days(t, rack, src, climate.Options{}); len(got) != 0 {
		t.Errorf("%v", got)
	}
}

// Two sensors: means are theirs, extremes the outermost.
func TestTwoSensors(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{sensor("a", light.QuantityTemperature), sensor("b", light.QuantityTemperature)}
	src := &light.Memory{Readings: map[string]*light.Series{
		"a": season(rack, func(time.Time) float64 { return 20 }), "b": season(rack, func(time.Time) float64 { return 32 }),
	}}
	d := days(t, rack, src, climate.Options{})[0]
	near(t, "mean", d.LightMean, 26, 1e-9)
	near(t, "min", d.Min, 20, 0)
	near(t, "max", d.Max, 32, 0)
	near(t, "degree-days", d.DegreeDays, 16, 1e-12)
	near(t, "hot", d.Hot, 24, 1e-9)
	near(t, "cold", d.Cold, 0, 0)
}

// Readings need not fall on the boundaries of days.
func TestReadingsBesideTheBoundary(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{sensor("air", light.QuantityTemperature)}
	air := season(rack, func(time.Time) float64 { return 12 })
	for i := range air.Times {
		air.Times[i] += int64(2 * time.Minute)
	}
	for _, d := range days(t, rack, &light.Memory{Readings: map[string]*light.Series{"air": air}}, climate.Options{}) {
		near(t, "cold all day", d.Cold, rack.Day(d.Date).Length().Hours(), 1e-9)
		near(t, "covered", d.Covered, 1, 0)
	}
}

func TestRunningDay(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{sensor("air", light.QuantityTemperature)}
	src := &light.Memory{Readings: map[string]*light.Series{"air": season(rack, func(time.Time) float64 { return 40 })}}
	now := rack.Day(rack.Starts.Add(1)).From.Add(6 * time.Hour)
	got := days(t, rack, src, climate.Options{Now: func() time.Time { return now }})
	if len(got) != 2 {
		t.Fatalf("%d days", len(got))
	}
	near(t, "hot so far", got[1].Hot, 6, 1e-9)
	near(t, "covered so far", got[1].Covered, 1, 0)
}
