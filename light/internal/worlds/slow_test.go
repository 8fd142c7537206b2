//go:build worlds

package worlds

import (
	"math"
	"testing"
)

// TestSlowFaults checks each fault's number at a few days.
func TestSlowFaults(t *testing.T) {
	f := Falling(0.01)
	near(t, "a week", f.Apply(7, 100), 99, 1e-9)
	near(t, "ten weeks", f.Apply(70, 100), 100*math.Pow(0.99, 10), 1e-9)
	f = Leaf(30, 0.12)
	near(t, "before the leaf", f.Apply(29.9, 100), 100, 0)
	near(t, "after the leaf", f.Apply(30.1, 100), 88, 1e-9)
	f = Dust(0.005, 40)
	near(t, "dusty", f.Apply(39, 100), 100*math.Exp(-0.195), 1e-9)
	near(t, "wiped", f.Apply(40, 100), 100, 1e-9)
	near(t, "dark", DarkOffset(-0.4).Apply(3, 0), -0.4, 1e-9)
	near(t, "algae half way", Algae(50, 6, 0.3).Apply(50, 100), 85, 1e-9)
	near(t, "slipped", Slipped(10, 0.08).Apply(11, 100), 108, 1e-9)
	near(t, "ceiling", ChipCeiling(54).Apply(1, 2000), 54612.5/54, 1e-9)
	near(t, "warm afternoon", Warmth(-0.005, 4, 0).Apply(15.0/24, 100), 98, 1e-9)
	if n := len(SlowFaults(Sub(1, "f"), 120, 60)); n != 9 {
		t.Errorf("%d faults", n)
	}
}

// TestHourly: once an hour under a timer with edges between is wrong by less
// than an hour's light, but not by nothing.
func TestHourly(t *testing.T) {
	b := testBin(t)
	b.Timer = Timer{OnMin: 6*60 + 50, OffMin: 20*60 + 10}
	p := Probe{Gain: 1, Every: 60, Faults: []Slow{Hourly(0)}}
	got := SumDLI(p.Series(b, 1, 2, 1), 3600)
	p.Faults = nil
	fine := SumDLI(p.Series(b, 1, 2, 1), 60)
	want := DLI(b, 1)[b.Sensor[0]][b.Sensor[1]]
	hour := want * 60 / float64(b.Timer.Minutes())
	near(t, "each minute", fine, want, 1e-6)
	if e := math.Abs(got - want); e < 0.1*hour || e > hour {
		t.Errorf("hourly is wrong by %.3f, one hour is %.3f", e, hour)
	}
}

// TestLampFault: what the lamp does, the walk feels too.
func TestLampFault(t *testing.T) {
	b := testBin(t)
	at := At(3, 14, 0)
	if _, on := b.Timer.Since(at); !on {
		at = At(3, 2, 0)
	}
	was := Light(b, 1, 1, at)
	b.Extra = []Slow{Warmth(-0.01, 5, 0)}
	near(t, "lamp fault", Light(b, 1, 1, at)/was, b.Extra[0].Mul(at.Days()), 1e-9)
}

// TestCases builds a whole case of each kind.
func TestCases(t *testing.T) {
	for i, f := range Families() {
		s := Sizes[i%len(Sizes)]
		c, err := NewLampCase(f, s[0], s[1], Coverages[i%len(Coverages)], 1+i%5, uint64(i))
		if err != nil || len(c.Walk.Readings) == 0 || len(c.Samples()) == 0 {
			t.Errorf("%s: %v, %d readings", f, err, len(c.Walk.Readings))
		}
		for _, r := range c.Walk.Readings {
			if r.Value <= 0 {
				t.Errorf("%s: a clean reading of %v at %v", c.Name, r.Value, r.At)
			}
		}
	}
	for i, kind := range []string{"sill", "glasshouse"} {
		c, err := NewSunCase(DaylightPlan{Kind: kind, Rows: 3, Columns: 4, Days: 6, WithLamps: i == 1}, WalkAll, 4, 3)
		if err != nil || len(c.Walk.Readings) == 0 || c.Truth[c.World.SensorAt()[0]][c.World.SensorAt()[1]] != 1 {
			t.Errorf("%s: %v", kind, err)
		}
	}
}
