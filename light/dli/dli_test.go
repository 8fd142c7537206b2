package dli_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/dli"
)

// quantum is a plain quantum sensor that bridges ten minutes.
func quantum() []dli.Stretch {
	return []dli.Stretch{{
		From: math.MinInt64, Until: math.MaxInt64, MaxGap: int64(10 * time.Minute),
		Scale: 1, Low: 0, High: 3000, PerUnit: 1, Saturates: true,
	}}
}

// read samples a function of time from one instant to another, both included.
func read(from, until time.Time, every time.Duration, ppfd func(time.Time) float64) *light.Series {
	s := &light.Series{}
	for t := from; !t.After(until); t = t.Add(every) {
		s.Add(t, ppfd(t), 0)
	}
	return s
}

func constant(x float64) func(time.Time) float64 { return func(time.Time) float64 { return x } }

// days are the bounds of n light days.
func days(cal light.Calendar, first light.Date, n int) []int64 {
	var bounds []int64
	for i := range n + 1 {
		bounds = append(bounds, cal.Day(first.Add(i)).From.UnixNano())
	}
	return bounds
}

func lisbon(tb testing.TB) light.Calendar {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		tb.Fatal(err)
	}
	return light.Calendar{Zone: zone}
}

func near(tb testing.TB, what string, got, want, tolerance float64) {
	tb.Helper()
	if math.Abs(got-want) > tolerance*math.Max(1, math.Abs(want)) || math.IsNaN(got) {
		tb.Errorf("%s: %v, want %v (%.2g off)", what, got, want, got-want)
	}
}

// Constant light by formula, PPFD × hours × 0.0036 mol: a growers' conversion
// table prints 0.0864 for 1 µmol m⁻² s⁻¹ through a day and 0.0036 through an
// hour (worked_examples.json, seen). Around clock changes a day has 23 or 25.
func TestConstantLightOverClockChanges(t *testing.T) {
	t.Parallel()
	for _, zone := range []string{"Europe/Lisbon", "America/New_York", "Australia/Lord_Howe"} {
		z, err := time.LoadLocation(zone)
		if err != nil {
			t.Fatal(err)
		}
		for _, starts := range []light.TimeOfDay{0, light.TimeOfDay(90 * time.Minute), light.TimeOfDay(5 * time.Hour)} {
			cal := light.Calendar{Zone: z, DayStarts: starts}
			first := light.Date{Year: 2026, Month: 1, Day: 1}
			bounds := days(cal, first, 365)
			s := read(time.Unix(0, bounds[0]).Add(-3*time.Minute), time.Unix(0, bounds[365]).Add(7*time.Minute), 7*time.Minute, constant(1))
			curve, got := dli.Integrate(s, quantum(), bounds, nil)
			if len(curve.Gaps) != 0 {
				t.Fatalf("gaps %v", curve.Gaps)
			}
			lengths := map[float64]int{}
			for i, day := range got {
				hours := cal.Day(first.Add(i)).Length().Hours()
				lengths[hours]++
				near(t, first.Add(i).String(), float64(day.Mol), hours*0.0036, 1e-13)
				if day.Covered != bounds[i+1]-bounds[i] {
					t.Fatalf("%s: %d ns covered", first.Add(i), day.Covered)
				}
			}
			if len(lengths) < 3 {
				t.Fatalf("%s: no clock change met: %v", zone, lengths)
			}
		}
	}
}

// The lamp of a plain rack: a square wave, exact but for the two ramps, which
// the trapezoid draws evenly about the instant of switching.
func TestSquareWave(t *testing.T) {
	t.Parallel()
	bounds := days(light.Calendar{Zone: time.UTC}, light.Date{Year: 2026, Month: 3, Day: 2}, 2)
	lit := func(at time.Time) float64 {
		if h := at.UTC().Hour()*60 + at.UTC().Minute(); h >= 7*60 && h < 23*60+30 {
			return 250
		}
		return 0
	}
	s := read(time.Unix(0, bounds[0]), time.Unix(0, bounds[2]), time.Minute, lit)
	_, got := dli.Integrate(s, quantum(), bounds, nil)
	for _, day := range got {
		// 250 for 16 h 30 min: 14.85 mol (worked_examples.json, derived).
		near(t, "square wave", float64(day.Mol), 14.85, 1e-12)
	}
}

// Half a sine, peak P over D hours: P·D·3600·2/π/10⁶. The trapezoid's error is
// known: the factor (x/2)/tan(x/2), x = π·step/D (finite sum of sines).
func TestHalfSineDay(t *testing.T) {
	t.Parallel()
	start := time.Date(2026, 6, 1, 5, 0, 0, 0, time.UTC)
	bounds := days(light.Calendar{Zone: time.UTC}, light.Date{Year: 2026, Month: 6, Day: 1}, 1)
	sine := func(at time.Time) float64 {
		return math.Max(0, 500*math.Sin(math.Pi*at.Sub(start).Hours()/14))
	}
	const exact = 16.04281826366305 // worked_examples.json, derived
	for _, every := range []time.Duration{time.Minute, 5 * time.Minute, 10 * time.Minute} {
		s := read(time.Unix(0, bounds[0]), time.Unix(0, bounds[1]), every, sine)
		_, got := dli.Integrate(s, quantum(), bounds, nil)
		x := math.Pi * every.Hours() / 14
		near(t, every.String(), float64(got[0].Mol), exact*(x/2)/math.Tan(x/2), 1e-12)
		near(t, every.String()+" against the integral", float64(got[0].Mol), exact, 2e-4)
	}
}

// Half a sine with silences at dusk, about noon and over midnight, on the days
// around both clock changes: what is covered is the integral of that part, by
// formula, within the trapezoid's error.
func TestHalfSineWithGaps(t *testing.T) {
	t.Parallel()
	cal := lisbon(t)
	for _, first := range []light.Date{{Year: 2026, Month: 3, Day: 28}, {Year: 2026, Month: 10, Day: 24}} {
		bounds := days(cal, first, 3)
		dawn := func(at time.Time) time.Time { // 06:00 of the clock, 14 h of light
			return light.TimeOfDay(6*time.Hour).On(light.DateOf(at.In(cal.Zone)), cal.Zone)
		}
		hours := func(at time.Time) float64 { return min(14, max(0, at.Sub(dawn(at)).Hours())) }
		sine := func(at time.Time) float64 { return 500 * math.Sin(math.Pi*hours(at)/14) }
		// exact is the light between two instants of one day.
		exact := func(from, until time.Time) float64 {
			return 500 * 3600 * 14 / math.Pi / 1e6 * (math.Cos(math.Pi*hours(from)/14) - math.Cos(math.Pi*hours(until)/14))
		}
		on := func(day int, h float64) time.Time {
			return light.TimeOfDay(h*float64(time.Hour)).On(first.Add(day), cal.Zone)
		}
		for what, gap := range map[string][2]time.Time{
			"at dusk": {on(1, 17), on(1, 21.5)}, "at noon": {on(1, 10.25), on(1, 15.5)},
			"over midnight": {on(0, 18), on(1, 9)}, "over both midnights": {on(0, 19), on(2, 7)},
		} {
			s := &light.Series{}
			for at := time.Unix(0, bounds[0]).Add(-time.Hour); at.UnixNano() <= bounds[3]+int64(time.Hour); at = at.Add(time.Minute) {
				if !at.After(gap[0]) || !at.Before(gap[1]) {
					s.Add(at, sine(at), 0)
				}
			}
			_, got := dli.Integrate(s, quantum(), bounds, nil)
			for i, day := range got {
				from, until := time.Unix(0, bounds[i]), time.Unix(0, bounds[i+1]-1)
				want := exact(from, until)
				silentFrom, silentUntil := gap[0], gap[1]
				if silentFrom.Before(from) {
					silentFrom = from
				}
				if silentUntil.After(until) {
					silentUntil = until
				}
				if silentFrom.Before(silentUntil) {
					want -= exact(silentFrom, silentUntil)
				}
				near(t, what, float64(day.Mol), want, 1e-5)
			}
		}
	}
}

// A triangle of 400 over 12 h is 8.64 mol, exact by trapezoid when a reading
// stands at each corner, and cut exactly wherever a day may begin.
func TestTriangleDayCutAnywhere(t *testing.T) {
	t.Parallel()
	noon := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	triangle := func(at time.Time) float64 {
		return math.Max(0, 400*(1-math.Abs(at.Sub(noon).Hours())/6))
	}
	from, until := noon.Add(-12*time.Hour), noon.Add(12*time.Hour)
	for minute := 1; minute < 24*60; minute += 7 {
		cut := from.Add(time.Duration(minute)*time.Minute + 17*time.Second)
		s := read(from, until, 10*time.Minute, triangle)
		_, got := dli.Integrate(s, quantum(), []int64{from.UnixNano(), cut.UnixNano(), until.UnixNano()}, nil)
		left := cut.Sub(noon).Hours()
		var area float64 // of the triangle up to the cut, in PPFD × hours
		switch {
		case left <= -6:
		case left <= 0:
			area = 400 * (left + 6) * (left + 6) / 12
		case left < 6:
			area = 2400 - 400*(6-left)*(6-left)/12
		default:
			area = 2400
		}
		near(t, "before the cut", float64(got[0].Mol), area*0.0036, 1e-12)
		near(t, "whole", float64(got[0].Mol+got[1].Mol), 8.64, 1e-12)
	}
}

func TestGaps(t *testing.T) {
	t.Parallel()
	cal := lisbon(t)
	first := light.Date{Year: 2026, Month: 10, Day: 24} // the 25th has 25 hours
	bounds := days(cal, first, 3)
	start := time.Unix(0, bounds[0]).UTC()
	at := func(h float64) int64 { return start.Add(time.Duration(h * float64(time.Hour))).UnixNano() }
	without := func(gaps ...dli.Gap) *light.Series {
		all := read(start.Add(-time.Hour), start.Add(74*time.Hour), 5*time.Minute, constant(100))
		var kept light.Series
		for i, at := range all.Times {
			if !slices.ContainsFunc(gaps, func(g dli.Gap) bool { return at > g.From && at < g.Until }) {
				kept.Times, kept.Values = append(kept.Times, at), append(kept.Values, all.Values[i])
			}
		}
		return &kept
	}
	for _, c := range []struct {
		what  string
		gaps  []dli.Gap
		hours [3]float64 // covered
	}{
		{"none", nil, [3]float64{24, 25, 24}},
		{"at dusk", []dli.Gap{{at(20), at(22.5)}}, [3]float64{21.5, 25, 24}},
		{"over midnight", []dli.Gap{{at(23), at(26)}}, [3]float64{23, 23, 24}},
		{"in the repeated hour", []dli.Gap{{at(25), at(26)}}, [3]float64{24, 24, 24}},
		{"bridged", []dli.Gap{{at(3), at(3) + int64(10*time.Minute)}}, [3]float64{24, 25, 24}},
		{"just too long", []dli.Gap{{at(3), at(3) + int64(15*time.Minute)}}, [3]float64{23.75, 25, 24}},
		{"a whole day and more", []dli.Gap{{at(12), at(50)}}, [3]float64{12, 0, 23}},
		{"from the beginning", []dli.Gap{{at(-2), at(1)}}, [3]float64{23, 25, 24}},
		{"at the end", []dli.Gap{{at(72), at(80)}}, [3]float64{24, 25, 23}},
		{"two in a day", []dli.Gap{{at(1), at(2)}, {at(4), at(6)}}, [3]float64{21, 25, 24}},
		{"everything", []dli.Gap{{at(-2), at(80)}}, [3]float64{0, 0, 0}},
	} {
		curve, got := dli.Integrate(without(c.gaps...), quantum(), bounds, nil)
		lost := int64(0)
		for _, g := range curve.Gaps {
			lost += g.Until - g.From
		}
		for i, day := range got {
			if h := time.Duration(day.Covered).Hours(); h != c.hours[i] {
				t.Errorf("%s: day %d covered %v h, want %v", c.what, i, h, c.hours[i])
			}
			near(t, c.what, float64(day.Mol), 100*c.hours[i]*0.0036, 1e-12)
			lost += day.Covered
		}
		if lost != bounds[3]-bounds[0] {
			t.Errorf("%s: gaps %v and covered time do not make up the span", c.what, curve.Gaps)
		}
	}
}

// What may not enter a figure is as if it were not there.
func TestReadingsNotUsed(t *testing.T) {
	t.Parallel()
	from := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	bounds := []int64{from.UnixNano(), from.Add(time.Hour).UnixNano()}
	for what, spoil := range map[string]func(s *light.Series){
		"above the range":      func(s *light.Series) { s.Add(from.Add(90*time.Second), 3001, 0) },
		"below the range":      func(s *light.Series) { s.Add(from.Add(90*time.Second), -0.01, 0) },
		"no number":            func(s *light.Series) { s.Add(from.Add(90*time.Second), math.NaN(), 0) },
		"untimed":              func(s *light.Series) { s.Add(from.Add(90*time.Second), 0, light.Untimed) },
		"stale":                func(s *light.Series) { s.Add(from.Add(90*time.Second), 0, light.Stale) },
		"another at that time": func(s *light.Series) { s.Add(from.Add(120*time.Second), 0, light.Conflict|light.OwnTime) },
		"the same once more":   func(s *light.Series) { s.Add(from.Add(120*time.Second), 42, 0) },
	} {
		s := read(from, from.Add(time.Hour), time.Minute, constant(42))
		spoil(s)
		s.Sort()
		curve, got := dli.Integrate(s, quantum(), bounds, nil)
		near(t, what, float64(got[0].Mol), 42*0.0036, 1e-13)
		if got[0].Covered != int64(time.Hour) || len(curve.Gaps) != 0 {
			t.Errorf("%s: %v, %v", what, got, curve.Gaps)
		}
	}
}

// Against a slow rule written another way: the line through the usable readings
// is tabulated by whole seconds and summed second by second.
func TestRandomSeriesAgainstSlowRule(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(1, 2026))
	for range 300 {
		const span = 3600
		series := &light.Series{}
		for sec := -int64(random.IntN(40)); sec < span+40; sec += 1 + int64(random.IntN(1+random.IntN(60))) {
			mark := light.Mark(0)
			if random.IntN(20) == 0 {
				mark = light.Stale
			}
			series.Add(time.Unix(sec, 0), random.Float64()*110-5, mark)
		}
		stretch := []dli.Stretch{{
			From: int64(random.IntN(600)-300) * 1e9, Until: int64(span-300+random.IntN(600)) * 1e9,
			MaxGap: 30e9, Scale: 1.1, Offset: 1, Low: 0, High: 100, PerUnit: 0.7,
		}}
		bounds := []int64{0}
		for b := int64(0); b < span; {
			b = min(span, b+1+int64(random.IntN(900)))
			bounds = append(bounds, b*1e9)
		}

		line, known := slowRule(series, stretch[0], span)
		slow := func(from, until int64) (l dli.Light) {
			for x := from; x < until; x++ {
				if known[x] {
					l.Covered += 1e9
					l.Mol += light.PPFD((line[x] + line[x+1]) / 2).Over(1)
				}
			}
			return l
		}

		curve, cells := dli.Integrate(series, stretch, bounds, nil)
		for i, cell := range cells {
			want := slow(bounds[i]/1e9, bounds[i+1]/1e9)
			near(t, "cell", float64(cell.Mol)*1e3, float64(want.Mol)*1e3, 1e-11)
			if cell.Covered != want.Covered {
				t.Fatalf("covered %v, want %v", cell.Covered, want.Covered)
			}
			again := curve.Between(bounds[i], bounds[i+1])
			near(t, "window", float64(again.Mol)*1e3, float64(cell.Mol)*1e3, 1e-11)
			if again.Covered != cell.Covered {
				t.Fatalf("window covered %v, want %v", again.Covered, cell.Covered)
			}
		}
		for range 10 {
			from := int64(random.IntN(span))
			until := from + 1 + int64(random.IntN(int(span-from)))
			got, want := curve.Between(from*1e9, until*1e9), slow(from, until)
			near(t, "any window", float64(got.Mol)*1e3, float64(want.Mol)*1e3, 1e-11)
			if got.Covered != want.Covered {
				t.Fatalf("window covered %v, want %v", got.Covered, want.Covered)
			}
			if x, ok := curve.At(from * 1e9); ok != (known[from] || from > 0 && known[from-1]) && !slices.Contains(curve.Times, from*1e9) {
				t.Fatalf("at %d: known %v", from, ok)
			} else if ok && known[from] {
				near(t, "at", x, line[from], 1e-11)
			}
		}
	}
}

// slowRule draws the line through a stretch's readings second by second, with the
// factors of the test above, and says of which seconds it is known: those that
// begin there.
func slowRule(series *light.Series, stretch dli.Stretch, span int64) (line []float64, known []bool) {
	line, known = make([]float64, span+1), make([]bool, span)
	last, lastValue := int64(math.MinInt32), 0.0
	for i, at := range series.Times {
		value := 1.1*series.Values[i] + 1
		if at < stretch.From || at >= stretch.Until || value < 0 || value > 100 || series.Marks != nil && series.Marks[i] != 0 {
			continue
		}
		sec := at / 1e9
		if sec-last <= 30 {
			for x := max(last, 0); x <= min(sec, span); x++ {
				line[x] = 0.7 * (lastValue + (value-lastValue)*float64(x-last)/float64(sec-last))
				if x < min(sec, span) {
					known[x] = true
				}
			}
		}
		last, lastValue = sec, value
	}
	return line, known
}

func TestAbove(t *testing.T) {
	t.Parallel()
	from := time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)
	s := &light.Series{}
	for i, v := range []float64{0, 100, 100, 0} {
		s.Add(from.Add(time.Duration(i)*10*time.Minute), v, 0)
	}
	until := from.Add(time.Hour)
	curve, _ := dli.Integrate(s, quantum(), []int64{from.UnixNano(), until.UnixNano()}, nil)
	levels := []float64{-1, 0, 25, 50, 99, 100}
	got := make([]float64, len(levels))
	curve.Above(levels, from.UnixNano(), until.UnixNano(), got)
	for i, minutes := range []float64{30, 30, 25, 20, 10.2, 0} {
		near(t, "minutes above", got[i]/6e10, minutes, 1e-9)
	}
	// From within the rise to within the fall.
	got = got[:1]
	got[0] = 0
	curve.Above([]float64{50}, from.Add(3*time.Minute).UnixNano(), from.Add(22*time.Minute).UnixNano(), got)
	near(t, "minutes in the window", got[0]/6e10, 17, 1e-9)
	curve.Above(nil, from.UnixNano(), until.UnixNano(), nil)
}

// The order of readings of one time, or a reading on a boundary, loses no light.
func TestReadingsOfOneTime(t *testing.T) {
	t.Parallel()
	from := time.Unix(1_772_400_000, 0)
	s := &light.Series{}
	for _, r := range [][2]float64{{0, 10}, {60, 10}, {60, 30}, {60, 20}, {120, 20}, {120, 20}} {
		s.Add(from.Add(time.Duration(r[0])*time.Second), r[1], 0)
	}
	bounds := []int64{from.UnixNano(), from.Add(time.Minute).UnixNano(), from.Add(2 * time.Minute).UnixNano()}
	_, got := dli.Integrate(s, quantum(), bounds, nil)
	near(t, "before", float64(got[0].Mol)*1e6, 600, 1e-12)
	near(t, "after", float64(got[1].Mol)*1e6, 1200, 1e-12)
}

func TestNoAllocationPerReading(t *testing.T) {
	bounds := days(light.Calendar{Zone: time.UTC}, light.Date{Year: 2026, Month: 3, Day: 2}, 10)
	s := read(time.Unix(0, bounds[0]), time.Unix(0, bounds[10]), time.Minute, constant(42))
	cells := make([]dli.Light, 0, 10)
	stretches := quantum()
	if n := testing.AllocsPerRun(10, func() { dli.Integrate(s, stretches, bounds, cells[:0]) }); n > 1 {
		t.Errorf("%v allocations for %d readings", n, s.Len())
	}
}
