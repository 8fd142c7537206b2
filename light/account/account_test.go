package account_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
	"parstead/light/account"
)

// With one quantum sensor and no survey its own position has its light, the
// others have it as it stands, with 0.20 added in quadrature.
func TestSensorAndBin(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	src := &light.Memory{Readings: map[string]*light.Series{"centre": season(rack, lamp(rack.Zone, 100))}}
	days := allDays(t, rack, src, account.Options{})
	if len(days) != 6*28 {
		t.Fatalf("%d figures", len(days))
	}
	for i, d := range days {
		if want := rack.Bins[0].Positions()[i/28]; d.Position != want || d.Date != rack.Starts.Add(i%28) {
			t.Fatalf("figure %d is of %v on %s", i, d.Position, d.Date)
		}
		near(t, d.Date.String(), float64(d.DLI), wholeDay(100), 1e-12)
		source, e := account.FromBin, math.Hypot(0.05, 0.20)
		if d.Position == place(1, 2) {
			source, e = account.FromSensor, 0.05
		}
		if d.Source != source || d.Covered != 1 || d.Filled != 0 || d.Missing != 0 || !d.Known {
			t.Fatalf("%+v", d)
		}
		near(t, "error", d.Error.Total(), e, 1e-12)
	}
}

// A surveyed position has the map's ratio times the sensor's light; the meter's
// gain does not matter. A position that was not surveyed falls back.
func TestMap(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	src := &light.Memory{Readings: map[string]*light.Series{"centre": season(rack, lamp(rack.Zone, 100))}}
	for _, gain := range []float64{1, 1.4} {
		rack.Survey = nil
		walk(rack, local(t, rack, "2026-10-20 10:00"), 80*gain, 100*gain, 90*gain, 70*gain, 50*gain)
		days := allDays(t, rack, src, account.Options{})
		for i, ratio := range []float64{0.8, 1, 0.9, 0.7, 0.5} {
			p := rack.Bins[0].Positions()[i]
			f := find(t, days, p, "2026-10-25") // a day of 25 hours; the timer is lit for 14 all the same
			near(t, p.String(), float64(f.DLI), ratio*wholeDay(100), 1e-12)
			if p == place(1, 2) {
				if f.Source != account.FromSensor || f.Error.Total() != 0.05 {
					t.Errorf("%+v", f)
				}
			} else if f.Source != account.FromMap || math.Abs(f.Error.Total()-math.Hypot(0.05, 0.06)) > 1e-12 {
				t.Errorf("%+v", f)
			}
		}
		if f := find(t, days, place(2, 3), "2026-10-25"); f.Source != account.FromBin {
			t.Errorf("%+v", f)
		}
	}
}

// A lux sensor and a lux meter under one lamp.
func TestLux(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	chip := quantum("chip", place(1, 1))
	chip.Measures, chip.High, chip.RelativeError = light.QuantityLux, 150000, 0.2
	rack.Sensors = []light.Sensor{chip}
	src := &light.Memory{Readings: map[string]*light.Series{"chip": season(rack, lamp(rack.Zone, 6700))}}
	walk(rack, local(t, rack, "2026-10-20 10:00"), 6000, 3000)
	for i := range rack.Survey {
		rack.Survey[i].Measures = light.QuantityLux
	}
	days := allDays(t, rack, src, account.Options{})
	near(t, "sensor", float64(find(t, days, place(1, 1), "2026-10-14").DLI), wholeDay(100), 1e-12)
	near(t, "map", float64(find(t, days, place(1, 2), "2026-10-14").DLI), wholeDay(50), 1e-12)

	// A corrected factor reaches back over the whole trial; a new lamp's does not.
	rack.Lamps[0].LuxPerPPFD = 33.5
	days = allDays(t, rack, src, account.Options{})
	near(t, "corrected", float64(find(t, days, place(1, 1), "2026-10-14").DLI), wholeDay(200), 1e-12)
	hung := rack.Day(date(t, "2026-10-20")).From
	other := rack.Lamps[0]
	other.LuxPerPPFD = 67
	rack.Lamps[0].During.Until, other.During.From = hung, hung
	rack.Lamps = append(rack.Lamps, other)
	days = allDays(t, rack, src, account.Options{})
	near(t, "old lamp", float64(find(t, days, place(1, 1), "2026-10-19").DLI), wholeDay(200), 1e-12)
	near(t, "new lamp", float64(find(t, days, place(1, 1), "2026-10-20").DLI), wholeDay(100), 1e-12)
}

// Without a sensor the meter's readings over the timer's hours.
func TestTimer(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	walk(rack, local(t, rack, "2026-10-20 10:00"), 80, 100, 90, 70, 50)
	days := allDays(t, rack, &light.Memory{}, account.Options{})
	if len(days) != 5*28 { // the sixth position is not known
		t.Fatalf("%d figures", len(days))
	}
	f := find(t, days, place(1, 1), "2026-10-14")
	near(t, "timer", float64(f.DLI), wholeDay(80), 1e-12)
	near(t, "error", f.Error.Total(), math.Sqrt(0.15*0.15+0.10*0.10+0.06*0.06), 1e-12)
	if f.Source != account.FromTimer || f.Covered != 0 || f.Filled != 1 || f.Missing != 0 {
		t.Errorf("%+v", f)
	}
	// A power cut whose end is known takes its hours.
	src := &light.Memory{Log: []light.Event{{
		ID: 1, Kind: light.PowerCut, At: local(t, rack, "2026-10-14 05:00"),
		During: light.Span{From: local(t, rack, "2026-10-14 05:00"), Until: local(t, rack, "2026-10-14 14:00")},
	}}}
	f = find(t, allDays(t, rack, src, account.Options{}), place(1, 1), "2026-10-14")
	near(t, "after a power cut", float64(f.DLI), wholeDay(80)/2, 1e-12)
	// A lamp that was moved: the walk no longer holds, and nothing else is known.
	src.Log = []light.Event{{ID: 1, Kind: light.LampMoved, At: local(t, rack, "2026-10-22 14:00")}}
	days = allDays(t, rack, src, account.Options{})
	f = find(t, days, place(1, 1), "2026-10-22")
	near(t, "half a day", float64(f.DLI), wholeDay(80)/2, 1e-12)
	near(t, "half a day missing", f.Missing, 10.0/24, 1e-12)
	if f = find(t, days, place(1, 1), "2026-10-23"); f.Known || f.Missing != 1 {
		t.Errorf("%+v", f)
	}
}

// The objects are the contract's, key for key.
func TestJSON(t *testing.T) {
	t.Parallel()
	day := account.Day{
		Date: date(t, "2026-03-02"), Position: light.Position{Bin: `up"per`, Row: 3, Column: 4},
		Figure: account.Figure{Known: true, DLI: 12.96, Covered: 1, Error: account.Error{Independent: 0.03, Bin: 0.04}, Source: account.FromSensor},
	}
	unknown := account.Day{Date: day.Date, Position: day.Position, Figure: account.Figure{Missing: 1}}
	bin := account.BinDay{Date: day.Date, Bin: "upper", Known: true, Mean: 2, Min: 1, Max: 3, CV: 0.5, Covered: 1, Error: account.Error{All: 0.1}, Source: account.FromTimer}
	lone := bin
	lone.CV = math.NaN()
	for _, c := range []struct {
		of   any
		want string
	}{
		{day, `{"date":"2026-03-02","bin":"up\"per","row":3,"column":4,"dli":12.96,"covered":1,"filled":0,"missing":0,"relative_error":0.05,"source":"sensor"}`},
		{unknown, `{"date":"2026-03-02","bin":"up\"per","row":3,"column":4,"covered":0,"filled":0,"missing":1}`},
		{bin, `{"date":"2026-03-02","bin":"upper","mean":2,"min":1,"max":3,"cv":0.5,"covered":1,"filled":0,"missing":0,"relative_error":0.1,"source":"timer"}`},
		{lone, `{"date":"2026-03-02","bin":"upper","mean":2,"min":1,"max":3,"covered":1,"filled":0,"missing":0,"relative_error":0.1,"source":"timer"}`},
	} {
		got, err := json.Marshal(c.of)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c.want, string(got)); diff != "" {
			t.Error(diff)
		}
	}
}

func TestPerBin(t *testing.T) {
	t.Parallel()
	d := date(t, "2026-03-02")
	figure := func(dli, independent, shared float64, s account.Source) account.Figure {
		return account.Figure{Known: true, DLI: light.DLI(dli), Covered: 1, Error: account.Error{Independent: independent, Bin: shared}, Source: s}
	}
	days := []account.Day{
		{Date: d, Position: place(1, 1), Figure: figure(2, 0.1, 0.05, account.FromMap)},
		{Date: d.Add(1), Position: place(1, 1), Figure: account.Figure{Missing: 1}},
		{Date: d, Position: place(1, 2), Figure: figure(4, 0, 0.05, account.FromSensor)},
		{Date: d.Add(1), Position: place(1, 2), Figure: account.Figure{Missing: 1}},
		{Date: d, Position: place(1, 3), Figure: account.Figure{Missing: 1}},
		{Date: d.Add(1), Position: place(1, 3), Figure: account.Figure{Missing: 1}},
		{Date: d, Position: light.Position{Bin: "lower", Row: 1, Column: 1}, Figure: figure(0, 0.06, 0.05, account.FromTimer)},
		{Date: d.Add(1), Position: light.Position{Bin: "lower", Row: 1, Column: 1}, Figure: figure(5, 0.06, 0.05, account.FromTimer)},
	}
	got := account.PerBin(days)
	if len(got) != 4 || got[0].Bin != "upper" || got[1].Date != d.Add(1) || got[2].Bin != "lower" || got[3].Mean != 5 {
		t.Fatalf("%+v", got)
	}
	near(t, "mean", float64(got[0].Mean), 3, 1e-15)
	near(t, "cv", got[0].CV, math.Sqrt2/3, 1e-12) // of 2 and 4: sd √2
	near(t, "error", got[0].Error.Total(), math.Hypot(2*0.1/2/3, 0.05), 1e-12)
	if got[0].Min != 2 || got[0].Max != 4 || got[0].Source != account.FromMap || got[1].Known || got[1].Missing != 1 {
		t.Errorf("%+v", got)
	}
}

func TestErrorsNameWhatToMend(t *testing.T) {
	t.Parallel()
	lux := func(r *light.Rack) {
		s := quantum("chip", place(1, 1))
		s.Measures = light.QuantityLux
		r.Sensors = []light.Sensor{s}
	}
	for what, c := range map[string]struct {
		spoil func(*light.Rack)
		says  []string
	}{
		"lux without factor": {func(r *light.Rack) { lux(r); r.Lamps[0].LuxPerPPFD = 0 }, []string{"chip", "lux_per_ppfd"}},
		"lux without lamp":   {func(r *light.Rack) { lux(r); r.Bins[0].Lamps = nil }, []string{"chip", "upper"}},
		"lux under water": {func(r *light.Rack) {
			lux(r)
			r.Sensors[0].DepthCM = 8
			r.Bins[0].WaterCM = 8
		}, []string{"chip", "immersion_factor"}},
		"two colours": {func(r *light.Rack) {
			lux(r)
			red := r.Lamps[0]
			red.Name, red.LuxPerPPFD = "red", 8
			r.Lamps = append(r.Lamps, red)
			r.Bins[0].Lamps = []string{"bar", "red"}
		}, []string{"bar", "red", "lux_per_ppfd"}},
		"water without attenuation": {func(r *light.Rack) {
			r.Sensors = []light.Sensor{quantum("air", place(1, 1))}
			r.Bins[0].WaterCM = 8
		}, []string{"upper", "attenuation_per_m"}},
		"a meter over water without attenuation": {func(r *light.Rack) {
			r.Bins[0].WaterCM = 8
			walk(r, r.Trial().From, 80)
		}, []string{"upper", "attenuation_per_m"}},
		"no water": {func(r *light.Rack) {
			r.Sensors = []light.Sensor{quantum("deep", place(1, 1))}
			r.Sensors[0].DepthCM = 8
		}, []string{"deep", "water_cm"}},
	} {
		rack := newRack(t)
		c.spoil(rack)
		_, err := account.New(rack, &light.Memory{}, account.Options{}).Days(t.Context(), rack.Starts, rack.Ends)
		if err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", what, err)
			continue
		}
		for _, word := range c.says {
			if !strings.Contains(err.Error(), word) {
				t.Errorf("%s: %v should say %s", what, err, word)
			}
		}
	}
}

// Light under water by Beer's law, from a sensor in the air, at the plants, and
// between; an immersion factor counts once.
func TestWater(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ depth, immersion, want float64 }{
		{0, 0, 100 * math.Exp(-4*0.08)},
		{8, 0, 100},
		{8, 1.25, 125},
		{3, 0, 100 * math.Exp(-4*0.05)},
	} {
		rack := newRack(t)
		rack.Bins[0].WaterCM, rack.Bins[0].Attenuation = 8, 4
		s := quantum("pond", place(1, 1))
		s.DepthCM, s.Immersion = c.depth, c.immersion
		rack.Sensors = []light.Sensor{s}
		src := &light.Memory{Readings: map[string]*light.Series{"pond": season(rack, lamp(rack.Zone, 100))}}
		f := find(t, allDays(t, rack, src, account.Options{}), place(1, 1), "2026-10-14")
		near(t, "PPFD at the plants", float64(f.DLI), wholeDay(c.want), 1e-12)
	}
}

// A meter is read in the air over a pond without a sensor; the plants lie deeper.
func TestSurveyOverWater(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Bins[0].WaterCM, rack.Bins[0].Attenuation = 8, 4
	walk(rack, local(t, rack, "2026-10-20 10:00"), 80, 100)
	f := find(t, allDays(t, rack, &light.Memory{}, account.Options{}), place(1, 1), "2026-10-14")
	near(t, "at the plants", float64(f.DLI), wholeDay(80*math.Exp(-4*0.08)), 1e-12)
}

// A running day is counted so far; what has not begun is left out.
func TestRunningDay(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	series := season(rack, lamp(rack.Zone, 100))
	now := local(t, rack, "2026-10-20 14:03")
	cut(series, now, rack.Trial().Until.Add(2*time.Hour))
	src := &light.Memory{Readings: map[string]*light.Series{"centre": series}}
	const rise = 100 * 150 / 1e6 // mol that the line to the first lit reading adds
	days := allDays(t, rack, src, account.Options{Now: func() time.Time { return now }})
	if n := len(days); n != 6*9 || days[8].Date != date(t, "2026-10-20") {
		t.Fatalf("%d figures", n)
	}
	f := find(t, days, place(1, 2), "2026-10-20")
	near(t, "seven hours", float64(f.DLI), 100*7*0.0036+rise, 1e-12)
	if f.Covered != 1 || f.Missing != 0 || f.Filled != 0 {
		t.Errorf("%+v", f)
	}
	// Silent for longer than is bridged: that time is filled like any other.
	now = local(t, rack, "2026-10-20 16:00")
	f = find(t, allDays(t, rack, src, account.Options{Now: func() time.Time { return now }}), place(1, 2), "2026-10-20")
	near(t, "nine hours", float64(f.DLI), 100*9*0.0036+rise, 1e-12)
	near(t, "filled", f.Filled, 2*0.36/(9*0.36+rise), 1e-12)
}

// Three positions by hand: means 2, 4 and 6; the day without a figure counts nowhere.
func TestUniformity(t *testing.T) {
	t.Parallel()
	known := func(dli float64) account.Figure { return account.Figure{Known: true, DLI: light.DLI(dli)} }
	lower := light.Position{Bin: "lower", Row: 1, Column: 1}
	got := account.UniformityOf([]account.Day{
		{Position: place(1, 1), Figure: known(1)},
		{Position: place(1, 1), Figure: known(3)},
		{Position: place(1, 2), Figure: known(4)},
		{Position: place(1, 2), Figure: account.Figure{Missing: 1}},
		{Position: place(1, 3), Figure: known(6)},
		{Position: place(1, 3), Figure: known(6)},
		{Position: lower, Figure: account.Figure{Missing: 1}},
	})
	want := []account.Uniformity{{Bin: "upper", Positions: 3, Mean: 4, LeastOverMean: 0.5, CV: 0.5}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// What ends a light map: an event of this bin's light, not of the air's sensor
// nor of another bin; the account as it comes uses the maps of package field.
func TestWhatEndsAMap(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	thermometer := quantum("thermometer", place(1, 1))
	thermometer.Measures = light.QuantityTemperature
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2)), thermometer}
	walk(rack, local(t, rack, "2026-10-15 10:00"), 80, 100, 90, 70, 50, 60)
	src := &light.Memory{Readings: map[string]*light.Series{"centre": season(rack, lamp(rack.Zone, 100))}}
	for what, c := range map[string]struct {
		event light.Event
		want  account.Source
	}{
		"this sensor moved":      {light.Event{Kind: light.SensorMoved, Sensor: "centre"}, account.FromBin},
		"the whole rack's lamps": {light.Event{Kind: light.LampReplaced}, account.FromBin},
		"a thermometer moved":    {light.Event{Kind: light.SensorMoved, Sensor: "thermometer"}, account.FromMap},
		"another bin's lamp":     {light.Event{Kind: light.LampMoved, Bin: "lower"}, account.FromMap},
		"a plant was treated":    {light.Event{Kind: light.Treated, Bin: "upper"}, account.FromMap},
	} {
		c.event.ID, c.event.At = 1, local(t, rack, "2026-10-20 12:00")
		src.Log = []light.Event{c.event}
		days, err := account.New(rack, src, account.Options{}).Days(t.Context(), date(t, "2026-10-21"), date(t, "2026-10-21"))
		if err != nil {
			t.Fatal(err)
		}
		if f := find(t, days, place(1, 1), "2026-10-21"); f.Source != c.want {
			t.Errorf("%s: from %s, want %s", what, f.Source, c.want)
		}
	}
	rack.Survey, src.Log = rack.Survey[:1], nil
	got, err := account.New(rack, src, account.Options{}).Season(t.Context(), rack.Starts, rack.Ends)
	if err != nil || len(got.Remarks) != 1 || !strings.Contains(got.Remarks[0], "one position") {
		t.Errorf("%q, %v", got.Remarks, err)
	}
}
