//go:build worlds

package worlds

import (
	"math"
	"testing"
)

// TestSun checks the sun against what any almanac says.
func TestSun(t *testing.T) {
	s := Site{LatDeg: 51.5, StartDOY: 81}
	top, at := 0.0, 0.0
	for m := range 1440 {
		if el, az := s.SunAt(0, float64(m)); el > top {
			top, at = el, az
		}
	}
	near(t, "equinox noon", top*180/math.Pi, 38.5, 0.02)
	near(t, "noon is south", at*180/math.Pi, 180, 0.01)
	if _, az := s.SunAt(0, 480); az > math.Pi {
		t.Error("morning sun in the west")
	}
	s.StartDOY = 172
	up := 0
	for m := range 1440 {
		if el, _ := s.SunAt(0, float64(m)); el > 0 {
			up++
		}
	}
	near(t, "midsummer day, hours", float64(up)/60, 16.4, 0.02)
}

// TestSkies: both skies give one on open level ground.
func TestSkies(t *testing.T) {
	const n = 2000
	even, over := 0.0, 0.0
	for i := range n {
		e := (float64(i) + 0.5) / n * math.Pi / 2
		w := math.Sin(e) * math.Cos(e) * 2 * math.Pi * math.Pi / 2 / n
		even += evenSky * w
		over += overcastSky(math.Sin(e)) * w
	}
	near(t, "even", even, 1, 1e-4)
	near(t, "overcast", over, 1, 1e-4)
}

// TestOutdoors: a cloudless midsummer day at 50° gives some 55 to 65 mol, a
// midwinter one some 8 to 13; a dull one a quarter or less.
func TestOutdoors(t *testing.T) {
	sum := func(doy int, kind DayKind) float64 {
		w := NewWeather(Site{LatDeg: 50, StartDOY: doy}, 1, 3)
		w.Kinds[0] = kind
		s := 0.0
		for m := range 1440 {
			s += w.At(0, m).Level() * 60 / 1e6
		}
		return s
	}
	check := func(what string, v, lo, hi float64) {
		t.Logf("%s: %.1f mol", what, v)
		if v < lo || v > hi {
			t.Errorf("%s: %.1f mol m⁻² d⁻¹ is not believable", what, v)
		}
	}
	check("June clear", sum(172, Clear), 50, 68)
	check("December clear", sum(355, Clear), 6, 13)
	check("June dull", sum(172, Overcast), 5, 26)
	check("June broken", sum(172, Broken), 22, 58)
}

// TestConserve: a roof of nothing passes just what is outdoors, and a sill
// never more than that.
func TestConserve(t *testing.T) {
	d, err := NewDaylight(DaylightPlan{Kind: "glasshouse", Rows: 2, Columns: 3, Days: 3, LatDeg: 48, StartDOY: 150}, 4)
	if err != nil {
		t.Fatal(err)
	}
	d.open = &Roof{frame: newFrame(2, 3, d.PitchCM), High: 2, Pane: 1}
	for day := range 3 {
		out := 0.0
		for m := range 1440 {
			out += d.Weather.At(day, m).Level() * 60 / 1e6
		}
		near(t, "open roof, "+d.Weather.Kind(day).String(), DLI(d, day)[0][0], out, 0.01)
	}
	for seed := range uint64(6) {
		s, _ := NewDaylight(DaylightPlan{Kind: "sill", Rows: 3, Columns: 4, Days: 2}, seed)
		out := 0.0
		for m := range 1440 {
			out += s.Weather.At(0, m).Level() * 60 / 1e6
		}
		for _, row := range DLI(s, 0) {
			for _, v := range row {
				if v <= 0 || v > out {
					t.Errorf("sill gets %.2f of %.2f mol", v, out)
				}
			}
		}
	}
}

// TestDLIAddsUp: DLI is the minutes' sum; lamp and sun are two parts of it; a
// lamp's DLI keeps the map's ratios.
func TestDLIAddsUp(t *testing.T) {
	d, _ := NewDaylight(DaylightPlan{Kind: "sill", Rows: 3, Columns: 4, Days: 4, WithLamps: true}, 8)
	dli := DLI(d, 2)
	sun, lamp := 0.0, 0.0
	for m := range 1440 {
		w := When{2, m * 60}
		sun += d.SunLight(1, 2, w, Instrument{}) * 60 / 1e6
		lamp += d.LampLight(1, 2, w, Instrument{}) * 60 / 1e6
	}
	near(t, "parts", sun+lamp, dli[1][2], 1e-9)
	k, _ := NewRack("bars", 4, 6, 2)
	b := NewBin(k, 2)
	level := 0.0
	for m := range 1440 {
		level += b.Level(When{1, m * 60})
	}
	m := DLI(b, 1)
	near(t, "lamp DLI", m[2][3], k.True[2][3]*level*60/1e6, 1e-9)
	near(t, "ratio", m[2][3]/m[0][0], k.True[2][3]/k.True[0][0], 1e-9)
	near(t, "hours", level, float64(b.Timer.Minutes()), 0.1)
}

// TestLookDaylight prints a clear and a dull day of a sill and of a bench.
func TestLookDaylight(t *testing.T) {
	for i, kind := range []string{"sill", "glasshouse", "sill"} {
		d, err := NewDaylight(DaylightPlan{Kind: kind, Rows: 4, Columns: 6, Days: 40, WithLamps: i == 1}, uint64(3+i))
		if err != nil {
			t.Fatal(err)
		}
		t.Log(kind, d.Notes)
		for _, k := range []DayKind{Clear, Overcast} {
			for day := range 40 {
				if d.Weather.Kind(day) == k {
					x := d.TruthOf(day)
					t.Logf("day %d %s, DLI at the sensor %.2f, CV %.0f %%\n%s", day, k,
						x.DLI[d.Sensor[0]][d.Sensor[1]], 100*spread(x.DLI), drawMap(x.DLI, d.Sensor))
					break
				}
			}
		}
	}
}
