package account_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"parstead/light"
	"parstead/light/account"
)

// ramp is a lamp that dims by one part in a thousand a day, so that days differ.
func ramp(rack *light.Rack) func(time.Time) float64 {
	lit := lamp(rack.Zone, 100)
	return func(at time.Time) float64 {
		return lit(at) * (1 - 0.001*float64(rack.Starts.DaysUntil(rack.DateAt(at))))
	}
}

func oneSensor(tb testing.TB) (*light.Rack, *light.Memory) {
	tb.Helper()
	rack := newRack(tb)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	return rack, &light.Memory{Readings: map[string]*light.Series{"centre": season(rack, ramp(rack))}}
}

// A silence takes the mean of the seven full days to either side at the same
// clock time; the measured part stays as it was.
func TestFillFromNeighbours(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		what, from, until, date string
		lit                     float64 // hours of light that fall silent on that date
	}{
		{"at dusk", "2026-10-20 19:00", "2026-10-20 22:30", "2026-10-20", 2},
		{"over midnight", "2026-10-20 20:00", "2026-10-21 09:00", "2026-10-21", 2},
		{"before midnight", "2026-10-20 20:00", "2026-10-21 09:00", "2026-10-20", 1},
		{"on the day of 25 hours", "2026-10-24 23:30", "2026-10-25 12:00", "2026-10-25", 5},
		{"in the dark", "2026-10-20 22:00", "2026-10-20 23:55", "2026-10-20", 0},
		{"the whole day", "2026-10-20 00:00", "2026-10-21 00:00", "2026-10-20", 14},
	} {
		rack, src := oneSensor(t)
		cut(src.Readings["centre"], local(t, rack, c.from), local(t, rack, c.until))
		f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), c.date)
		n := rack.Starts.DaysUntil(date(t, c.date))
		level := func(n int) float64 { return 100 * (1 - 0.001*float64(n)) }
		var profileDays []float64
		for side := -1; side <= 1; side += 2 {
			for k, found := n+side, 0; found < 7 && k >= 0 && k < 28; k += side {
				// The other day of a silence over midnight is no full day.
				// Nor does the day of 25 hours have the hours of a silence over the change.
				d := rack.Starts.Add(k).String()
				if c.what != "at dusk" && c.what != "before midnight" && c.what != "in the dark" && d == "2026-10-25" {
					found++
					continue
				}
				if c.what == "over midnight" && d == "2026-10-20" ||
					c.what == "before midnight" && d == "2026-10-21" || c.what == "on the day of 25 hours" && d == "2026-10-24" {
					continue
				}
				profileDays = append(profileDays, level(k))
				found++
			}
		}
		mean := 0.0
		for _, x := range profileDays {
			mean += x / float64(len(profileDays))
		}
		filled := mean * c.lit * 0.0036
		want := level(n)*(14-c.lit)*0.0036 + filled
		near(t, c.what, float64(f.DLI), want, 1e-4) // the ramps of switching differ by half a reading
		near(t, c.what+": share filled", f.Filled, filled/want, 4e-3)
		day := rack.Day(date(t, c.date))
		silent, _ := light.Span{From: local(t, rack, c.from), Until: local(t, rack, c.until)}.Within(day)
		near(t, c.what+": covered", f.Covered, 1-silent.Length().Hours()/day.Length().Hours(), 1e-12)
		if f.Missing != 0 || f.Source != account.FromSensor {
			t.Errorf("%s: %+v", c.what, f)
		}
		// The days differ by less than 5 %: the least spread counts for the filled part.
		near(t, c.what+": error", f.Error.Total(), math.Hypot(0.05, 0.05*filled/want), 1e-3)
	}
}

// The spread of the days that fill is the error of what they fill.
func TestFillSpread(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	random := rand.New(rand.NewPCG(3, 2026))
	levels := make([]float64, 30)
	for i := range levels {
		levels[i] = 100 * (1 + 0.2*random.NormFloat64())
	}
	lit := lamp(rack.Zone, 1)
	series := season(rack, func(at time.Time) float64 {
		return lit(at) * levels[min(29, max(0, rack.Starts.DaysUntil(rack.DateAt(at))))]
	})
	cut(series, local(t, rack, "2026-10-25 00:00"), local(t, rack, "2026-10-26 00:00"))
	src := &light.Memory{Readings: map[string]*light.Series{"centre": series}}
	f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-25")
	var mean, squares float64
	others := slices.Concat(levels[6:13], levels[14:21])
	for _, x := range others {
		mean += x / 14
	}
	for _, x := range others {
		squares += (x - mean) * (x - mean)
	}
	near(t, "mean of fourteen", float64(f.DLI), wholeDay(mean), 1e-9)
	near(t, "their spread", f.Error.Bin, math.Sqrt(squares/13)/mean, 1e-9)
	if f.Filled != 1 || f.Covered != 0 || f.Missing != 0 {
		t.Errorf("%+v", f)
	}
}

// No full day under the same lamp: the timer's hours at the plateau.
func TestFillFromTimer(t *testing.T) {
	t.Parallel()
	rack, src := oneSensor(t)
	series := src.Readings["centre"]
	*series = *season(rack, lamp(rack.Zone, 100))
	for d := rack.Starts; !rack.Ends.Before(d); d = d.Add(1) { // every day has its hole
		cut(series, light.TimeOfDay(19*time.Hour).On(d, rack.Zone), light.TimeOfDay(22*time.Hour).On(d, rack.Zone))
	}
	f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
	// The lines to and from switching lie half outside of the lit hours.
	near(t, "whole", float64(f.DLI), wholeDay(100), 4e-3)
	near(t, "filled", f.Filled, 2.0/14, 1e-3)
	near(t, "error", f.Error.Total(), math.Hypot(0.05, 0.15*2/14), 1e-4)
	if f.Source != account.FromSensor {
		t.Errorf("%+v", f)
	}
	// Nor any lamp that is known: missing, and the figure is what is known.
	rack.Bins[0].Lamps = nil
	f = find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
	near(t, "known", float64(f.DLI), 100*12*0.0036, 4e-3)
	near(t, "missing", f.Missing, 3.0/24, 1e-12)
	// Not one reading in the whole trial.
	rack, src = oneSensor(t)
	src.Readings = nil
	for _, d := range allDays(t, rack, src, account.Options{}) {
		if d.Known || d.Missing != 1 || d.DLI != 0 {
			t.Fatalf("%+v", d)
		}
	}
}

// A lamp that is known to be out gets no light.
func TestOutages(t *testing.T) {
	t.Parallel()
	outage := func(rack *light.Rack, from, until string) light.Event {
		e := light.Event{ID: 1, Kind: light.PowerCut, At: local(t, rack, from)}
		if until != "" {
			e.During = light.Span{From: e.At, Until: local(t, rack, until)}
		}
		return e
	}
	t.Run("log with its end", func(t *testing.T) {
		t.Parallel()
		rack, src := oneSensor(t)
		cut(src.Readings["centre"], local(t, rack, "2026-10-20 08:00"), local(t, rack, "2026-10-20 20:00"))
		src.Log = []light.Event{outage(rack, "2026-10-20 08:00", "2026-10-20 14:00")}
		f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
		near(t, "six hours dark, six filled", float64(f.DLI), wholeDay(99.2)*8/14, 2e-3)
		if f.Missing != 0 {
			t.Errorf("%+v", f)
		}
	})
	t.Run("log without its end", func(t *testing.T) {
		t.Parallel()
		rack, src := oneSensor(t)
		cut(src.Readings["centre"], local(t, rack, "2026-10-20 12:00"), local(t, rack, "2026-10-22 12:00"))
		src.Log = []light.Event{outage(rack, "2026-10-20 12:02", "")}
		days := allDays(t, rack, src, account.Options{})
		for d, hours := range map[string]float64{"2026-10-20": 5, "2026-10-21": 0, "2026-10-22": 9, "2026-10-23": 14} {
			near(t, d, float64(find(t, days, place(1, 2), d).DLI), 99.2*hours*0.0036, 2e-2) // up to five minutes of light about the switching
		}
	})
	t.Run("dark at both ends", func(t *testing.T) {
		t.Parallel()
		rack, src := oneSensor(t)
		dark(src.Readings["centre"], local(t, rack, "2026-10-20 10:00"), local(t, rack, "2026-10-20 16:00"))
		cut(src.Readings["centre"], local(t, rack, "2026-10-20 11:00"), local(t, rack, "2026-10-20 15:00"))
		f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
		near(t, "dark", float64(f.DLI), wholeDay(99.2)*8/14, 2e-3)
		if f.Missing != 0 || f.Filled != 0 {
			t.Errorf("%+v", f)
		}
	})
	t.Run("dark at one end", func(t *testing.T) {
		t.Parallel()
		rack, src := oneSensor(t)
		dark(src.Readings["centre"], local(t, rack, "2026-10-20 10:00"), local(t, rack, "2026-10-20 12:00"))
		cut(src.Readings["centre"], local(t, rack, "2026-10-20 11:00"), local(t, rack, "2026-10-20 15:00"))
		f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
		near(t, "missing", f.Missing, 4.0/24, 1e-12)
	})
	t.Run("an outage fills no other day", func(t *testing.T) {
		t.Parallel()
		rack, src := oneSensor(t)
		dark(src.Readings["centre"], local(t, rack, "2026-10-19 06:00"), local(t, rack, "2026-10-19 22:00"))
		cut(src.Readings["centre"], local(t, rack, "2026-10-20 00:00"), local(t, rack, "2026-10-21 00:00"))
		f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
		near(t, "filled", float64(f.DLI), wholeDay(99.2), 3e-3)
	})
}

func dark(s *light.Series, from, until time.Time) {
	for i, at := range s.Times {
		if at >= from.UnixNano() && at < until.UnixNano() {
			s.Values[i] = 0
		}
	}
}

// Days before a lamp was moved say nothing about days after it.
func TestFillKeepsToTheEpoch(t *testing.T) {
	t.Parallel()
	rack, src := oneSensor(t)
	moved := local(t, rack, "2026-10-21 00:00")
	lit := lamp(rack.Zone, 100)
	*src.Readings["centre"] = *season(rack, func(at time.Time) float64 {
		if at.Before(moved) {
			return 2 * lit(at)
		}
		return lit(at)
	})
	cut(src.Readings["centre"], local(t, rack, "2026-10-21 00:00"), local(t, rack, "2026-10-22 00:00"))
	src.Log = []light.Event{{ID: 1, Kind: light.LampMoved, At: moved, Bin: "upper"}}
	f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-21")
	near(t, "after the move", float64(f.DLI), wholeDay(100), 1e-12)
	// A note about another bin changes nothing here; nor does one withdrawn.
	for _, log := range [][]light.Event{
		{{ID: 1, Kind: light.LampMoved, At: moved, Bin: "lower"}},
		{{ID: 1, Kind: light.LampMoved, At: moved}, {ID: 2, Kind: light.Withdrawn, Withdraws: 1}},
	} {
		src.Log = log
		f = find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-21")
		// Seven days of 200 and six of 100: the day of 25 hours fills no whole day.
		near(t, "one epoch", float64(f.DLI), wholeDay(2000.0/13), 1e-12)
	}
}

// Nor do days under another timer.
func TestFillKeepsToTheTimer(t *testing.T) {
	t.Parallel()
	rack, src := oneSensor(t)
	changed := local(t, rack, "2026-10-21 00:00")
	later := rack.Lamps[0]
	rack.Lamps[0].During.Until, later.During.From = changed, changed
	later.On = []light.TimeOfDay{hours(14)}
	rack.Lamps = append(rack.Lamps, later)
	lit := lamp(rack.Zone, 100)
	*src.Readings["centre"] = *season(rack, func(at time.Time) float64 {
		if !at.Before(changed) && at.In(rack.Zone).Hour() < 14 {
			return 0
		}
		return lit(at)
	})
	cut(src.Readings["centre"], changed, changed.Add(24*time.Hour))
	f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-21")
	near(t, "half the hours", float64(f.DLI), wholeDay(100)/2, 1e-12)
}

// A moved lamp ends the map; until the next walk the sensor stands as it is.
func TestEpochOfMaps(t *testing.T) {
	t.Parallel()
	rack, src := oneSensor(t)
	*src.Readings["centre"] = *season(rack, lamp(rack.Zone, 100))
	walk(rack, local(t, rack, "2026-10-15 10:00"), 80, 100, 90, 70, 50, 60)
	walk(rack, local(t, rack, "2026-10-28 11:00"), 60, 100, 90, 70, 50, 60)
	src.Log = []light.Event{{ID: 1, Kind: light.LampMoved, At: local(t, rack, "2026-10-20 12:00")}}
	days := allDays(t, rack, src, account.Options{})
	for d, want := range map[string]float64{
		"2026-10-12": 80 * 14, "2026-10-19": 80 * 14, "2026-10-20": 80*5 + 100*9, "2026-10-21": 100 * 14,
		"2026-10-28": 100*4 + 60*10, "2026-10-29": 60 * 14,
	} {
		f := find(t, days, place(1, 1), d)
		near(t, d, float64(f.DLI), want*0.0036, 2e-3)
	}
	if f := find(t, days, place(1, 1), "2026-10-21"); f.Source != account.FromBin {
		t.Errorf("%+v", f)
	}
	// Exactly the days that a late walk should change are changed.
	before := days
	close := cmp.Options{cmpopts.EquateApprox(1e-9, 1e-9), cmp.Transformer("float", func(d light.DLI) float64 { return float64(d) })}
	rack.Survey = rack.Survey[:6]
	for i, d := range allDays(t, rack, src, account.Options{}) {
		late := date(t, "2026-10-28")
		same := cmp.Equal(d, before[i], close)
		if own := d.Position == place(1, 2); own || d.Date.Before(late) {
			if !same {
				t.Errorf("%s, %s changed", d.Position, d.Date)
			}
		} else if same {
			t.Errorf("%s, %s did not change", d.Position, d.Date)
		}
	}
}

// Three sensors: each position's own first; elsewhere all of them by precision,
// through the map; one that is set aside counts nowhere.
func TestSeveralSensors(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	lit := lamp(rack.Zone, 100)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1)), quantum("b", place(1, 2)), quantum("c", place(2, 1))}
	rack.Sensors[2].RelativeError = 0.1
	gains := map[string]float64{"a": 0.8, "b": 1.1, "c": 0.5} // place × scale of each
	src := &light.Memory{Readings: map[string]*light.Series{}}
	for name, gain := range gains {
		src.Readings[name] = season(rack, func(at time.Time) float64 { return gain * lit(at) })
	}
	days := allDays(t, rack, src, account.Options{})
	near(t, "own", float64(find(t, days, place(1, 2), "2026-10-20").DLI), wholeDay(110), 1e-12)
	byPrecision := (400*0.8 + 400*1.1 + 100*0.5) / 900
	f := find(t, days, place(2, 3), "2026-10-20")
	near(t, "without a map", float64(f.DLI), wholeDay(100*byPrecision), 1e-12)
	near(t, "error", f.Error.Total(), math.Hypot(1.0/30, 0.2), 1e-12)

	walk(rack, local(t, rack, "2026-10-15 10:00"), 80, 110, 90, 50, 50, 60)
	days = allDays(t, rack, src, account.Options{})
	f = find(t, days, place(2, 3), "2026-10-20")
	near(t, "through the map", float64(f.DLI), wholeDay(60), 1e-12)
	near(t, "error", f.Error.Total(), math.Hypot(1.0/30, 0.06), 1e-12)

	// While b is silent, its place is the map's, and the others agree on the rest.
	from, until := local(t, rack, "2026-10-20 10:00"), local(t, rack, "2026-10-20 17:00")
	cut(src.Readings["b"], from, until)
	days = allDays(t, rack, src, account.Options{})
	f = find(t, days, place(1, 2), "2026-10-20")
	near(t, "b's place", float64(f.DLI), wholeDay(110), 1e-12)
	if f.Covered != 1 || f.Filled != 0 {
		t.Errorf("%+v", f)
	}
	near(t, "elsewhere", float64(find(t, days, place(2, 3), "2026-10-20").DLI), wholeDay(60), 1e-12)

	// All silent: filled.
	cut(src.Readings["a"], from, until)
	cut(src.Readings["c"], from.Add(-time.Hour), until)
	f = find(t, allDays(t, rack, src, account.Options{}), place(2, 3), "2026-10-20")
	near(t, "filled", float64(f.DLI), wholeDay(60), 1e-12)
	near(t, "share filled", f.Filled, 0.5, 1e-12)
	near(t, "share covered", f.Covered, 17.0/24, 1e-12)

	// A stuck sensor, set aside by the log or by the caller.
	for i, at := range src.Readings["a"].Times {
		if at >= rack.Day(date(t, "2026-10-28")).From.UnixNano() {
			src.Readings["a"].Values[i] = 77
		}
	}
	stuck := light.Span{From: rack.Day(date(t, "2026-10-28")).From.Add(-time.Minute)}
	aside := account.Options{SetAside: []account.Aside{{Sensor: "a", During: stuck}}}
	byCaller := allDays(t, rack, src, aside)
	src.Log = []light.Event{{ID: 1, Kind: light.Ignore, Sensor: "a", During: stuck}}
	byLog := allDays(t, rack, src, account.Options{})
	if diff := cmp.Diff(byCaller, byLog); diff != "" {
		t.Error(diff)
	}
	f = find(t, byLog, place(1, 1), "2026-10-30")
	near(t, "a's place", float64(f.DLI), wholeDay(80), 1e-12)
	if f.Source != account.FromMap {
		t.Errorf("%+v", f)
	}

	// All of the bin's sensors at once.
	src.Log = []light.Event{{ID: 1, Kind: light.Ignore, Bin: "upper", During: rack.Day(date(t, "2026-10-22"))}}
	if f = find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-22"); f.Covered > 0.001 || f.Filled < 0.999 {
		t.Errorf("%+v", f)
	}
}

// A day that others are filled from may itself lack a thousandth: not of the very
// time that is to be filled.
func TestDonorWithoutTheHourThatIsWanted(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Ends = rack.Starts.Add(3)
	quick := quantum("centre", place(1, 2))
	quick.Every, quick.MaxGap = 10*time.Second, 40*time.Second
	rack.Sensors = []light.Sensor{quick}
	lit, s := lamp(rack.Zone, 100), &light.Series{}
	for at := rack.Trial().From; !at.After(rack.Trial().Until); at = at.Add(10 * time.Second) {
		s.Add(at, lit(at), 0)
	}
	for day, seconds := range map[string]int{"2026-10-13": 60, "2026-10-14": 60, "2026-10-15": 40} {
		from := local(t, rack, day+" 12:00")
		cut(s, from, from.Add(time.Duration(seconds)*time.Second))
	}
	src := &light.Memory{Readings: map[string]*light.Series{"centre": s}}
	f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-13")
	near(t, "a minute filled", float64(f.DLI), wholeDay(100), 1e-9)
	near(t, "its share", f.Filled, 1.0/(14*60), 1e-6)
	if f.Missing != 0 || !(f.Error.Total() < 0.06) {
		t.Errorf("%+v", f)
	}
}

// What is darker than a meter tells says nothing about whether a lamp is out.
func TestFaintLightIsNoOutage(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("centre", place(1, 2))}
	s := season(rack, lamp(rack.Zone, 0.8))
	from, until := local(t, rack, "2026-10-20 12:00"), local(t, rack, "2026-10-20 15:00")
	cut(s, from, until)
	change(s, from, from.Add(time.Second), func(float64) float64 { return 0 })
	src := &light.Memory{Readings: map[string]*light.Series{"centre": s}}
	f := find(t, allDays(t, rack, src, account.Options{}), place(1, 2), "2026-10-20")
	near(t, "filled all the same", float64(f.DLI), wholeDay(0.8), 1e-3)
	if f.Missing != 0 {
		t.Errorf("%+v", f)
	}
}

// However it is asked for, a figure is the same: a day alone or in the season,
// sensors in any order, parts of the season one after the other.
func TestAnswersDoNotDependOnTheQuestion(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(11, 2026))
	for range 4 {
		rack := newRack(t)
		src := &light.Memory{Readings: map[string]*light.Series{}}
		lit := lamp(rack.Zone, 100)
		for i, p := range []light.Position{place(1, 1), place(1, 2), place(2, 3), {Bin: "upper"}}[:1+random.IntN(4)] {
			name := string(rune('a' + i))
			rack.Sensors = append(rack.Sensors, quantum(name, p))
			src.Readings[name] = season(rack, func(at time.Time) float64 { return lit(at) * (1 + 0.1*random.NormFloat64()) })
			for k := range src.Readings[name].Times { // no reading on a boundary of days
				src.Readings[name].Times[k] += int64(i+1) * int64(time.Minute)
			}
		}
		for range 12 {
			from := rack.Trial().From.Add(time.Duration(random.IntN(28*24*60)) * time.Minute)
			until := from.Add(time.Duration(random.IntN(4*24*60)) * time.Minute)
			all := random.IntN(2) == 0
			for _, s := range src.Readings {
				if all || random.IntN(2) == 0 {
					cut(s, from, until)
				}
			}
		}
		walk(rack, local(t, rack, "2026-10-15 10:00"), 80, 100, 90, 70, 50)
		src.Log = []light.Event{
			{ID: 1, Kind: light.LampMoved, At: local(t, rack, "2026-10-22 12:00")},
			{ID: 2, Kind: light.PowerCut, At: local(t, rack, "2026-10-26 12:00")},
		}
		close := cmp.Options{cmpopts.EquateApprox(1e-9, 1e-9), cmp.Transformer("float", func(d light.DLI) float64 { return float64(d) })}
		days := allDays(t, rack, src, account.Options{})
		slices.Reverse(rack.Sensors)
		if diff := cmp.Diff(days, allDays(t, rack, src, account.Options{}), close); diff != "" {
			t.Fatal("sensors in another order:", diff)
		}
		for d := rack.Starts; !rack.Ends.Before(d); d = d.Add(1 + random.IntN(3)) {
			alone, err := account.New(rack, src, account.Options{Maps: ratios}).Days(t.Context(), d, d)
			if err != nil {
				t.Fatal(err)
			}
			var want []account.Day
			for _, day := range days {
				if day.Date == d {
					want = append(want, day)
				}
				if day.Known && (day.Covered < 0 || day.Missing < -1e-12 || day.Covered+day.Missing > 1+1e-12 || day.Filled > 1+1e-12) {
					t.Fatalf("%+v", day)
				}
			}
			if diff := cmp.Diff(want, alone, close); diff != "" {
				t.Fatalf("%s alone: %s", d, diff)
			}
		}
	}
}
