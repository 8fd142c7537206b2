//go:build worlds

package worlds

import (
	"math"
	"slices"
	"testing"
)

func testBin(t *testing.T) *Bin {
	t.Helper()
	k, err := NewRack("panel", 6, 8, 7)
	if err != nil {
		t.Fatal(err)
	}
	return NewBin(k, 7)
}

// TestCoverage counts the places of each walk.
func TestCoverage(t *testing.T) {
	want := map[Coverage]int{WalkAll: 48, WalkTwice: 96, WalkChecker: 24, WalkHalf: 24, WalkSix: 6, WalkTwo: 2, WalkOne: 1}
	for c, n := range want {
		for seed := range uint64(4) {
			if got := len(Places(c, 6, 8, [2]int{2, 3}, Sub(seed, "x"))); got != n {
				t.Errorf("%s: %d places, want %d", c, got, n)
			}
		}
	}
	for _, c := range Coverages {
		if len(Places(c, 1, 4, [2]int{0, 1}, Sub(1, "x"))) == 0 {
			t.Errorf("%s: a one-row bin is not walked", c)
		}
	}
}

// TestMeterNoise: without noise the walk is the light; with it the scatter of
// the logarithm is the sigma asked for.
func TestMeterNoise(t *testing.T) {
	b := testBin(t)
	plan := Plan{Coverage: WalkTwice, SecPer: 10}
	for i := range 20 {
		plan.Starts = append(plan.Starts, pickTime(Sub(3, "s"), b, i))
	}
	m := PlainMeter(0)
	m.Decimals = 6
	for i, r := range Take(b, m, plan, 1).Readings {
		near(t, "clean reading", r.Value, Light(b, r.Row, r.Col, r.At), 1e-6)
		if i > 200 {
			break
		}
	}
	m.Noise = 0.06
	w := Take(b, m, plan, 1)
	s, n := 0.0, 0.0
	for i, r := range w.Readings {
		l := math.Log(r.Value / w.Hidden[i].Light)
		s, n = s+l*l, n+1
	}
	near(t, "scatter", math.Sqrt(s/n), 0.06, 0.06)
}

// TestStretch: a tilt stays for a stretch, so neighbours in the walk share it.
func TestStretch(t *testing.T) {
	m := PlainMeter(0)
	m.TiltSD, m.Stretch = 8, 6
	b := testBin(t)
	w := Take(b, m, Plan{Coverage: WalkAll, SecPer: 10, Starts: []When{pickTime(Sub(1, "s"), b, 0)}}, 2)
	same, off := 0, 0.0
	for i := 1; i < len(w.Hidden); i++ {
		if w.Hidden[i].Ins == w.Hidden[i-1].Ins {
			same++
		}
		off = math.Max(off, math.Abs(math.Log(w.Readings[i].Value/w.Hidden[i].Light)))
	}
	if same < 30 || same == 47 || off < 0.02 {
		t.Errorf("%d of 47 share their tilt, worst error %.3f", same, off)
	}
}

// TestSlips: every slip says truly what it changed, leaves the clean walk
// alone, repeats from its seed, and happens at least somewhere.
func TestSlips(t *testing.T) {
	sill, err := NewDaylight(DaylightPlan{Kind: "sill", Rows: 4, Columns: 6, Days: 20, WithLamps: true}, 5)
	if err != nil {
		t.Fatal(err)
	}
	happened := map[string]int{}
	for _, w := range []World{testBin(t), sill} {
		for _, c := range Coverages {
			g := Sub(9, "plan")
			m := PlainMeter(0.05)
			clean := Take(w, m, NewPlan(g, w, c, 1, 0, 3), 4)
			keep := slices.Clone(clean.Readings)
			for _, s := range Slips() {
				bad, ch := s.Do(clean, Sub(2, s.Name))
				again, _ := s.Do(clean, Sub(2, s.Name))
				if !slices.Equal(keep, clean.Readings) {
					t.Fatalf("%s altered the clean walk", s.Name)
				}
				if !slices.Equal(bad.Readings, again.Readings) {
					t.Errorf("%s does not repeat", s.Name)
				}
				for i := range keep {
					if (keep[i] != bad.Readings[i]) != slices.Contains(ch.Touched, i) {
						t.Errorf("%s: reading %d is recorded wrongly", s.Name, i)
					}
				}
				if ch.Applied {
					happened[s.Name]++
				}
			}
		}
	}
	for _, s := range Slips() {
		if happened[s.Name] == 0 {
			t.Errorf("%s never happened", s.Name)
		}
	}
	t.Log(happened)
}

// TestSlipShapes looks at some slips' own meaning.
func TestSlipShapes(t *testing.T) {
	b := testBin(t)
	clean := Take(b, PlainMeter(0.04), NewPlan(Sub(1, "p"), b, WalkAll, 1, 0, 2), 4)
	do := func(name string) (Walk, Change) {
		s, ok := SlipNamed(name)
		if !ok {
			t.Fatal(name)
		}
		return s.Do(clean, Sub(6, name))
	}
	w, ch := do("one value ×10")
	near(t, "×10", w.Readings[ch.Touched[0]].Value, ch.Was[0].Value*10, 1e-6)
	w, ch = do("lux written as ppfd")
	near(t, "lux", w.Readings[3].Value, clean.Readings[3].Value*b.LuxPer(), 0.02)
	if w, _ = do("date in the future"); w.Readings[0].At.Days() <= w.Limit.Days() {
		t.Error("the future is past")
	}
	if w, _ = do("clock outside light hours"); Light(b, 0, 0, w.Readings[0].At) != 0 {
		t.Error("there is light outside light hours")
	}
	if w, ch = do("two rows swapped"); len(ch.Touched) < 10 {
		t.Errorf("rows swapped: %d readings", len(ch.Touched))
	}
	w, _ = do("ceiling of the meter")
	top := 0.0
	for _, r := range w.Readings {
		top = math.Max(top, r.Value)
	}
	n := 0
	for _, r := range w.Readings {
		if r.Value == top {
			n++
		}
	}
	if n < 2 {
		t.Error("the ceiling cuts nothing")
	}
}
