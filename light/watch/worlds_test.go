//go:build worlds

package watch_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/internal/worlds"
	"parstead/light/watch"
)

// The seasons that are watched: days long, looked at once a day.
const (
	slowDays     = 70
	cleanSeasons = 200
	faultSeasons = 24
	slowSeed     = 500_000
)

// at is a place of a world with its own sensor.
type at struct {
	*worlds.Bin
	place [2]int
}

// SensorAt is where it stands.
func (p at) SensorAt() [2]int { return p.place }

// slowSeason is a bin of a world with so many sensors, of which the first may have a
// fault. Where a probe hangs askew it reads a share of the light, always the same.
func slowSeason(tb testing.TB, sensors int, seed uint64, fault func(g *rand.Rand) worlds.Slow) (*light.Rack, *light.Memory) {
	tb.Helper()
	families, sizes := worlds.Families(), worlds.Sizes[:6]
	size := sizes[seed/13%6]
	k, err := worlds.NewRack(families[seed%uint64(len(families))], size[0], size[1], seed)
	if err != nil {
		tb.Fatal(err)
	}
	b := worlds.NewBin(k, seed)
	timer, _ := b.LampTimer()
	minutes := func(m int) []light.TimeOfDay {
		return []light.TimeOfDay{light.TimeOfDay(time.Duration(m) * time.Minute)}
	}
	start := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	rack := &light.Rack{
		Calendar: light.Calendar{Zone: time.UTC, DayStarts: dark(timer)},
		Starts:   light.DateOf(start), Ends: light.DateOf(start).Add(slowDays - 1),
		Bins:  []light.Bin{{Name: "b", Rows: size[0], Columns: size[1], Lamps: []string{"bar"}}},
		Lamps: []light.Lamp{{Name: "bar", On: minutes(timer.OnMin), Off: minutes(timer.OffMin)}},
	}
	src := &light.Memory{Readings: map[string]*light.Series{}}
	g := worlds.Sub(seed, "places")
	places := g.Perm(size[0] * size[1])
	for i := range sensors {
		probe := worlds.NewProbe(seed*10 + uint64(i))
		probe.Ins = worlds.Instrument{}
		if i == 0 && fault != nil {
			probe.Faults = []worlds.Slow{fault(g)}
		}
		place := [2]int{places[i] / size[1], places[i] % size[1]}
		every := time.Duration(probe.Every) * time.Second
		low, high := light.QuantityPPFD.Valid()
		name := fmt.Sprintf("sensor %d", i)
		rack.Sensors = append(rack.Sensors, light.Sensor{
			Name: name, Measures: light.QuantityPPFD, Position: light.Position{Bin: "b", Row: place[0] + 1, Column: place[1] + 1},
			Every: every, MaxGap: 10 * every, Scale: 1, Low: low, High: high, RelativeError: 0.05,
		})
		series := &light.Series{}
		for _, x := range probe.Series(at{b, place}, 0, slowDays, seed*10+uint64(i)) {
			series.Add(start.AddDate(0, 0, x.At.Day).Add(time.Duration(x.At.Sec)*time.Second), x.Value, light.OwnTime)
		}
		src.Readings[name] = series
	}
	return rack, src
}

// dark is an hour of the timer's dark period, in its middle.
func dark(t worlds.Timer) light.TimeOfDay {
	middle := (t.OffMin + (1440-t.Minutes())/2) % 1440
	return light.TimeOfDay(time.Duration(middle/60) * time.Hour)
}

// told is the first day on which a sensor is told to drift or to part from the others,
// or the bin to be dimmed, and of which sensor; −1 for none.
func told(tb testing.TB, rack *light.Rack, src light.Source) (day int, sensor, says string) {
	tb.Helper()
	w := watch.New(rack)
	for d := 2; d < slowDays; d++ {
		found, err := w.At(tb.Context(), src, rack.Day(rack.Starts.Add(d)).From.Add(-time.Minute))
		if err != nil {
			tb.Fatal(err)
		}
		i := slices.IndexFunc(found, func(c watch.Condition) bool {
			return c.Kind == watch.Drifting || c.Kind == watch.Ratio || c.Kind == watch.Dimmed
		})
		if i >= 0 {
			return d, found[i].Sensor, found[i].Says
		}
	}
	return -1, "", ""
}

// Of clean seasons in racks drawn by others at most 1 % have a sensor, or a lamp, called wrong,
// with one, two and three sensors in a bin.
func TestCleanSeasonsOfOtherWorlds(t *testing.T) {
	t.Parallel()
	alarms := 0
	for i := range uint64(cleanSeasons) {
		rack, src := slowSeason(t, 1+int(i%3), slowSeed+i, nil)
		if day, _, says := told(t, rack, src); day >= 0 {
			alarms++
			t.Logf("season %d, %d sensors, day %d: %s", i, len(rack.Sensors), day, says)
		}
	}
	t.Logf("%d of %d clean seasons", alarms, cleanSeasons)
	if alarms > cleanSeasons/100 {
		t.Errorf("false alarms in %d of %d seasons", alarms, cleanSeasons)
	}
}

// Slow faults of one sensor in racks drawn by others are found.
func TestSlowFaultsOfOtherWorlds(t *testing.T) {
	t.Parallel()
	leaf := func(g *rand.Rand) worlds.Slow { return worlds.Leaf(20+20*g.Float64(), 0.12) }
	falling := func(*rand.Rand) worlds.Slow { return worlds.Falling(0.01) }
	offset := func(*rand.Rand) worlds.Slow { return worlds.DarkOffset(-0.4) }
	both := func(f func(*rand.Rand) worlds.Slow) func(*rand.Rand) worlds.Slow {
		return func(g *rand.Rand) worlds.Slow {
			x := f(g)
			x.Add = func(float64) float64 { return -0.4 }
			return x
		}
	}
	for _, c := range []struct {
		name    string
		sensors int
		fault   func(*rand.Rand) worlds.Slow
		since   bool    // days are counted from the fault's beginning
		share   float64 // of seasons in which it is found, at least
		within  int     // days, in the middle
	}{
		{"falls by 1 % a week, of three", 3, falling, false, 0.9, 42},
		{"falls by 1 % a week, of two", 2, falling, false, 0.9, 42},
		{"leaf that takes 12 %, of three", 3, leaf, true, 0.9, 4},
		{"leaf that takes 12 %, of two", 2, leaf, true, 0.9, 4},
		{"leaf that takes 12 %, alone", 1, leaf, true, 0.8, 5},
		{"the same with a dark offset, of three", 3, both(leaf), true, 0.9, 4},
		{"dark offset alone, of three", 3, offset, false, 0, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			var days []int
			right := 0
			for i := range uint64(faultSeasons) {
				begins := 0.0
				rack, src := slowSeason(t, c.sensors, slowSeed+1000+i, func(g *rand.Rand) worlds.Slow {
					f := c.fault(g)
					for c.since && f.Mul(begins) == 1 {
						begins += 0.1
					}
					return f
				})
				if day, sensor, _ := told(t, rack, src); day >= 0 {
					days = append(days, day-int(begins))
					if sensor == "sensor 0" {
						right++
					}
				}
			}
			slices.Sort(days)
			middle := -1
			if len(days) > 0 {
				middle = days[len(days)/2]
			}
			t.Logf("found in %d of %d, the right sensor named in %d, after %v days (middle %d)", len(days), faultSeasons, right, days, middle)
			if float64(len(days)) < c.share*faultSeasons || middle > c.within {
				t.Errorf("found in %d of %d seasons, in the middle after %d days", len(days), faultSeasons, middle)
			}
			if c.share == 0 && len(days) > 0 {
				t.Errorf("an offset in the dark is no fault of a share of light")
			}
		})
	}
}
