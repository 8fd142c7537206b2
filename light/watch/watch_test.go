package watch

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"parstead/light"
)

// The racks here are simulated: lamps with 2 % noise on each reading, a slow
// supply drift of 1 %, air that follows the lamps. Seeds are fixed.

const step = 5 * time.Minute

type rig struct {
	rack   light.Rack
	memory light.Memory
	rng    *rand.Rand
	// change turns what a sensor would send at a time into what it does send;
	// false: nothing.
	change func(s light.Sensor, at time.Time, value float64) (float64, bool)
	// lamp tells whether a bin's lamp is lit.
	lamp func(bin string, at time.Time, due bool) bool
}

func newRig(tb testing.TB, days int) *rig {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		tb.Fatal(err)
	}
	starts := light.Date{Year: 2026, Month: 7, Day: 21}
	g := &rig{rng: rand.New(rand.NewPCG(1, 2))}
	g.rack = light.Rack{
		Calendar: light.Calendar{Zone: zone}, Starts: starts, Ends: starts.Add(days - 1),
		Lamps:  []light.Lamp{{Name: "bar", On: []light.TimeOfDay{light.TimeOfDay(7 * time.Hour)}, Off: []light.TimeOfDay{light.TimeOfDay(21 * time.Hour)}}},
		Floods: []light.Flood{{Reservoir: "A", Times: []light.TimeOfDay{light.TimeOfDay(8 * time.Hour), light.TimeOfDay(20 * time.Hour)}, Lasts: 15 * time.Minute}},
		Limits: light.Limits{Celsius: &[2]float64{16, 30}},
	}
	for _, name := range []string{"upper", "middle", "lower"} {
		g.rack.Bins = append(g.rack.Bins, light.Bin{Name: name, Rows: 2, Columns: 2, Lamps: []string{"bar"}, Reservoir: "A"})
		g.sensor(name+" lux", light.QuantityLux, name)
		g.sensor(name+" air", light.QuantityTemperature, name)
	}
	g.sensor("middle second", light.QuantityPPFD, "middle")
	g.sensor("middle third", light.QuantityLux, "middle")
	g.sensor("float", light.QuantityWet, "lower")
	return g
}

func (g *rig) sensor(name string, q light.Quantity, bin string) {
	low, high := q.Valid()
	g.rack.Sensors = append(g.rack.Sensors, light.Sensor{
		Name: name, Measures: q, Position: light.Position{Bin: bin}, Every: step, MaxGap: 10 * step, Scale: 1, Low: low, High: high,
	})
}

func (g *rig) play() {
	g.memory.Readings = map[string]*light.Series{}
	whole := g.rack.Trial()
	lit := g.rack.Lamps[0].Lit(whole, g.rack.Zone)
	i := 0
	for at := whole.From; at.Before(whole.Until); at = at.Add(step) {
		for i < len(lit) && !at.Before(lit[i].Until) {
			i++
		}
		due := i < len(lit) && lit[i].Holds(at)
		season := at.Sub(whole.From).Hours() / (24 * 154)
		for _, s := range g.rack.Sensors {
			on := due
			if g.lamp != nil {
				on = g.lamp(s.Position.Bin, at, due)
			}
			value := 0.0
			switch s.Measures {
			case light.QuantityLux:
				if on {
					value = 5900 * (1 + 0.02*g.rng.NormFloat64() + 0.01*math.Sin(7*season))
				}
			case light.QuantityPPFD:
				if on {
					value = 85 * (1 + 0.02*g.rng.NormFloat64() + 0.01*math.Sin(7*season))
				}
			case light.QuantityTemperature:
				value = 20 + 0.3*g.rng.NormFloat64()
				if on {
					value += 4
				}
			case light.QuantityWet:
				for _, t := range g.rack.Floods[0].Times {
					if d := at.Sub(t.On(light.DateOf(at.In(g.rack.Zone)), g.rack.Zone)); d >= 0 && d < 15*time.Minute {
						value = 1
					}
				}
			}
			if g.change != nil {
				v, ok := g.change(s, at, value)
				if !ok {
					continue
				}
				value = v
			}
			if g.memory.Readings[s.Name] == nil {
				g.memory.Readings[s.Name] = &light.Series{}
			}
			g.memory.Readings[s.Name].Add(at, value, 0)
		}
	}
}

// first looks every interval and reports when each condition was first seen and
// whether it was still there at the end.
func (g *rig) looks(tb testing.TB, from time.Time, every time.Duration) (first map[Kind]time.Time, causes map[Condition]bool) {
	tb.Helper()
	w := New(&g.rack)
	first, causes = map[Kind]time.Time{}, map[Condition]bool{}
	whole := g.rack.Trial()
	for now := from; now.Before(whole.Until); now = now.Add(every) {
		found, err := w.At(context.Background(), &g.memory, now)
		if err != nil {
			tb.Fatal(err)
		}
		for _, c := range found {
			if _, ok := first[c.Kind]; !ok {
				first[c.Kind] = now
			}
			causes[Condition{Kind: c.Kind, Bin: c.Bin, Sensor: c.Sensor}] = true
			if c.Says == "" || c.Do == "" || c.Since.IsZero() || c.Since.After(now) {
				tb.Fatalf("incomplete condition at %v: %+v", now, c)
			}
		}
	}
	return first, causes
}

func TestQuietThroughACleanSeason(t *testing.T) {
	t.Parallel()
	g := newRig(t, 154) // with the change to winter time on day 97
	g.play()
	first, _ := g.looks(t, g.at(0, 1), 3*time.Hour)
	if len(first) > 0 {
		t.Errorf("conditions in 154 clean days: %v", first)
	}
}

// at is a moment of the rig's trial.
func (g *rig) at(day int, hour float64) time.Time {
	return light.TimeOfDay(time.Duration(hour*float64(time.Hour))).On(g.rack.Starts.Add(day), g.rack.Zone)
}

// forGood is longer than any season.
const forGood = 1000 * time.Hour

// inStretch tells whether a time lies in a stretch that begins on a day of the season.
func inStretch(g *rig, at time.Time, day int, hour float64, length time.Duration) bool {
	from := g.at(day, hour)
	return !at.Before(from) && at.Before(from.Add(length))
}

// faults are planted into a season, each to be found in time.
var faults = []struct {
	name   string
	plant  func(g *rig)
	want   Condition     // name, bin and sensor
	day    int           // from when on it could be known
	hour   float64       //
	delay  time.Duration // at most
	others []Kind        // that may be seen too
}{
	{
		name: "a lamp is out for 31 hours", day: 12, hour: 10, delay: 20 * time.Minute,
		want: Condition{Kind: DarkWhenDue, Bin: "upper"},
		plant: func(g *rig) {
			g.lamp = func(bin string, at time.Time, due bool) bool {
				return due && !(bin == "upper" && inStretch(g, at, 12, 10, 31*time.Hour))
			}
		},
	},
	{
		name: "a lamp that fails overnight", day: 12, hour: 7.25, delay: 20 * time.Minute,
		want: Condition{Kind: DarkWhenDue, Bin: "upper"},
		plant: func(g *rig) {
			g.lamp = func(bin string, at time.Time, due bool) bool {
				return due && !(bin == "upper" && inStretch(g, at, 12, 1, forGood))
			}
		},
	},
	{
		name: "every lamp out is one cause", day: 12, hour: 10, delay: 20 * time.Minute,
		want: Condition{Kind: DarkWhenDue},
		plant: func(g *rig) {
			g.lamp = func(_ string, at time.Time, due bool) bool { return due && !inStretch(g, at, 12, 10, 6*time.Hour) }
		},
	},
	{
		name: "a lamp that stays on", day: 12, hour: 21.25, delay: 20 * time.Minute,
		want: Condition{Kind: LitWhenDark, Bin: "lower"},
		plant: func(g *rig) {
			g.lamp = func(bin string, at time.Time, due bool) bool {
				return due || (bin == "lower" && inStretch(g, at, 12, 12, forGood))
			}
		},
	},
	{
		name: "a lamp dimmed by 15 %", day: 12, hour: 10, delay: 3 * time.Hour,
		want: Condition{Kind: Dimmed, Bin: "upper"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "upper lux" && inStretch(g, at, 12, 10, forGood) {
					v *= 0.85
				}
				return v, true
			}
		},
	},
	{
		name: "a timer that loses 2.2 minutes a day", day: 12 + 6, hour: 7, delay: 25 * time.Hour,
		want: Condition{Kind: SwitchingDrift, Bin: "upper"},
		plant: func(g *rig) {
			g.lamp = func(bin string, at time.Time, due bool) bool {
				if bin != "upper" {
					return due
				}
				late := max(0, at.Sub(g.at(12, 0)).Hours()/24*2.2)
				local := at.Add(-time.Duration(late * float64(time.Minute))).In(g.rack.Zone)
				return local.Hour() >= 7 && local.Hour() < 21
			}
		},
	},
	{
		name: "a silent sensor", day: 12, hour: 10, delay: 55 * time.Minute,
		want: Condition{Kind: Silent, Bin: "upper", Sensor: "upper air"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				return v, s.Name != "upper air" || !inStretch(g, at, 12, 10, forGood)
			}
		},
	},
	{
		name: "a power cut is one cause", day: 12, hour: 10, delay: 55 * time.Minute,
		want: Condition{Kind: Silent},
		plant: func(g *rig) {
			g.change = func(_ light.Sensor, at time.Time, v float64) (float64, bool) {
				return v, !inStretch(g, at, 12, 10, 9*time.Hour)
			}
		},
	},
	{
		name: "a sensor stuck while lit", day: 12, hour: 21.5, delay: 20 * time.Minute,
		want: Condition{Kind: Flat, Bin: "upper", Sensor: "upper lux"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "upper lux" && inStretch(g, at, 12, 14, forGood) {
					v = 5871
				}
				return v, true
			}
		},
	},
	{
		name: "a sensor stuck at nothing beside others", day: 12, hour: 7.5, delay: 20 * time.Minute,
		want: Condition{Kind: Flat, Bin: "middle", Sensor: "middle lux"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "middle lux" && inStretch(g, at, 12, 1, forGood) {
					v = 0
				}
				return v, true
			}
		},
	},
	{
		name: "a sensor at its ceiling", day: 12, hour: 10, delay: 20 * time.Minute,
		want: Condition{Kind: Saturated, Bin: "upper", Sensor: "upper lux"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "upper lux" && inStretch(g, at, 12, 10, forGood) {
					v = 65535
				}
				return v, true
			}
		},
	},
	{
		name: "a leaf over one of three sensors", day: 12, hour: 10, delay: 3 * time.Hour,
		want: Condition{Kind: Ratio, Bin: "middle", Sensor: "middle second"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "middle second" && inStretch(g, at, 12, 10, forGood) {
					v *= 0.7
				}
				return v, true
			}
		},
	},
	{
		name: "floods missed for three days", day: 12, hour: 8.5, delay: 5 * time.Minute,
		want: Condition{Kind: FloodMissed, Bin: "lower", Sensor: "float"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "float" && inStretch(g, at, 12, 0, 72*time.Hour) {
					v = 0
				}
				return v, true
			}
		},
	},
	{
		name: "a flood that stays", day: 12, hour: 9.25, delay: 10 * time.Minute,
		want: Condition{Kind: FloodStuck, Bin: "lower", Sensor: "float"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "float" && inStretch(g, at, 12, 8, 30*time.Hour) {
					v = 1
				}
				return v, true
			}
		},
	},
	{
		name: "a hot day in one bin", day: 12, hour: 10, delay: 20 * time.Minute,
		want: Condition{Kind: Hot, Bin: "upper"},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Name == "upper air" && inStretch(g, at, 12, 10, 5*time.Hour) {
					v = 31.5
				}
				return v, true
			}
		},
	},
	{
		name: "a cold room is one cause", day: 12, hour: 10, delay: 20 * time.Minute,
		want: Condition{Kind: Cold},
		plant: func(g *rig) {
			g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
				if s.Measures == light.QuantityTemperature && inStretch(g, at, 12, 10, 5*time.Hour) {
					v = 12
				}
				return v, true
			}
		},
	},
}

func TestFaultsAreFound(t *testing.T) {
	t.Parallel()
	for _, c := range faults {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			days, every := 14, 2*step
			if c.want.Kind == SwitchingDrift {
				days, every = 34, 20*time.Minute
			}
			g := newRig(t, days)
			c.plant(g)
			g.play()
			first, causes := g.looks(t, g.at(11, 12), every)
			known := g.at(c.day, c.hour)
			found, ok := first[c.want.Kind]
			switch {
			case !ok:
				t.Fatalf("not found; seen: %v", first)
			case found.Before(known):
				t.Errorf("found at %v, before it could be known at %v", found, known)
			case found.Sub(known) > c.delay+every:
				t.Errorf("found after %v, want at most %v", found.Sub(known), c.delay)
			}
			t.Logf("found after %v", found.Sub(known))
			if !causes[c.want] {
				t.Errorf("told as %v, want %+v", causes, c.want)
			}
			for cause := range causes {
				if cause != c.want && !slices.Contains(c.others, cause.Kind) {
					t.Errorf("told besides: %+v", cause)
				}
			}
		})
	}
}

func TestMuteSilencesWhatItNames(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		event light.Event
		found bool
	}{
		{light.Event{Kind: light.Mute}, false},
		{light.Event{Kind: light.Mute, Bin: "upper", Text: "silent until the new chip comes"}, false},
		{light.Event{Kind: light.Mute, Bin: "upper", Text: "the chip is broken"}, false},
		{light.Event{Kind: light.Mute, Bin: "lower"}, true},
		{light.Event{Kind: light.Mute, Text: "hot"}, true},
		{light.Event{Kind: light.Other, Bin: "upper"}, true},
	} {
		g := newRig(t, 14)
		g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
			return v, s.Name != "upper air" || at.Before(g.at(12, 10))
		}
		g.play()
		c.event.ID, c.event.At = 1, g.at(12, 0)
		g.memory.Log = []light.Event{c.event}
		found, err := New(&g.rack).At(t.Context(), &g.memory, g.at(12, 14))
		if err != nil {
			t.Fatal(err)
		}
		if (len(found) > 0) != c.found {
			t.Errorf("%+v: found %v", c.event, found)
		}
	}
}

func TestALoggedChangeBeginsANewBaseline(t *testing.T) {
	t.Parallel()
	g := newRig(t, 30)
	g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
		if s.Name == "upper lux" && !at.Before(g.at(12, 10)) {
			v *= 0.8
		}
		return v, true
	}
	g.play()
	g.memory.Log = []light.Event{{ID: 1, At: g.at(12, 10), Kind: light.LampMoved, Bin: "upper"}}
	if first, _ := g.looks(t, g.at(0, 1), time.Hour); len(first) > 0 {
		t.Errorf("a change that was logged is told: %v", first)
	}
}
