package field_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/field"
)

var bin = light.Bin{Name: "upper", Rows: 2, Columns: 3}

func at(hour float64) time.Time {
	return time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC).Add(time.Duration(hour * float64(time.Hour)))
}

// walk reads the positions in order, one a minute, from the given hour on.
func walk(hour, reference float64, ppfd ...float64) []field.Reading {
	var readings []field.Reading
	for i, x := range ppfd {
		readings = append(readings, field.Reading{
			At: at(hour + float64(i)/60), Position: bin.Positions()[i%6], PPFD: x, Reference: reference,
		})
	}
	return readings
}

// twice is a walk there and again, to the same values: a meter without noise.
func twice(hour, reference float64, ppfd ...float64) []field.Reading {
	return append(walk(hour, reference, ppfd...), walk(hour+0.2, reference, ppfd...)...)
}

func one(anchors ...field.Anchor) func(time.Time) []field.Anchor {
	return func(time.Time) []field.Anchor { return anchors }
}

func place(row, column int) light.Position {
	return light.Position{Bin: "upper", Row: row, Column: column}
}

func maps(tb testing.TB, survey []field.Reading, epochs []light.Span, anchors func(time.Time) []field.Anchor) []field.Map {
	tb.Helper()
	got, remarks := field.Maps(bin, survey, epochs, anchors)
	if len(remarks) != 0 {
		tb.Fatalf("remarks %v", remarks)
	}
	return got
}

func near(tb testing.TB, what string, got, want float64) {
	tb.Helper()
	within(tb, what, got, want, 1e-9)
}

func within(tb testing.TB, what string, got, want, share float64) {
	tb.Helper()
	if !(math.Abs(got-want) <= share*math.Max(1, math.Abs(want))) {
		tb.Errorf("%s: %v, want %v", what, got, want)
	}
}

// smoothing is how far a map of a meter without noise may lie from its readings,
// as a share: it takes a meter's noise to be 2 % at least.
const smoothing = 0.01

// A sensor at one of the positions: the map is 1 there, whatever gain the meter
// has, and two walks at different lamp levels agree.
func TestMapIsOneAtTheSensor(t *testing.T) {
	t.Parallel()
	for _, gain := range []float64{1, 1.3} {
		survey := walk(9, 100, 80*gain, 100*gain, 90*gain, 70*gain, 50*gain, 60*gain)
		survey = append(survey, walk(20, 50, 40*gain, 50*gain, 45*gain, 35*gain, 25*gain, 30*gain)...)
		m := maps(t, survey, []light.Span{{}}, one(field.Anchor{Position: place(1, 2), Weight: 1}))[0]
		for i, want := range []float64{0.8, 1, 0.9, 0.7, 0.5, 0.6} {
			within(t, "ratio", m.Ratio[i], want, smoothing)
		}
		near(t, "1 at the sensor", m.Ratio[1], 1)
		near(t, "plateau", float64(m.Plateau), math.Sqrt(100*50))
		if m.OwnScale {
			t.Error("scaled to the meter beside a sensor")
		}
	}
}

func TestMapScale(t *testing.T) {
	t.Parallel()
	survey := twice(9, 100, 80, 100, 90, 70, 50, 60)
	sensors := one(field.Anchor{Position: place(1, 1), Weight: 3}, field.Anchor{Position: place(2, 3), Weight: 1})
	m := maps(t, survey, []light.Span{{}}, sensors)[0]
	near(t, "weighted mean at two sensors", (3*m.Ratio[0]+m.Ratio[5])/4, 1)
	within(t, "shape", m.Ratio[1]/m.Ratio[4], 2, smoothing)

	m = maps(t, survey, []light.Span{{}}, one(field.Anchor{Position: light.Position{Bin: "upper"}, Weight: 1}))[0]
	mean := 0.0
	for _, x := range m.Ratio {
		mean += x / 6
	}
	near(t, "mean for a sensor of the whole bin", mean, 1)

	// The meter never stood at the sensor: 1 there, the others as they differ, none
	// of those that were not walked surer than without a survey.
	three := append(twice(9, 100, 80, 100, 90), twice(10, 100, 80, 100, 90)...)
	m = maps(t, three, []light.Span{{}}, one(field.Anchor{Position: place(2, 2), Weight: 1}))[0]
	within(t, "first over second", m.Ratio[0]/m.Ratio[1], 0.8, smoothing)
	within(t, "third over second", m.Ratio[2]/m.Ratio[1], 0.9, smoothing)
	near(t, "at the sensor", m.Ratio[4], 1)
	if m.Surveyed[4] || !m.Surveyed[0] || m.RelativeError[4] > 1e-9 || m.RelativeError[3] < field.NoMapError || m.RelativeError[5] < field.NoMapError {
		t.Errorf("%+v", m)
	}

	// No sensor in place: the meter's own scale counts.
	m = maps(t, survey, []light.Span{{}}, one())[0]
	within(t, "over what was read", m.Ratio[0], 0.8, smoothing)
	if !m.OwnScale || m.Positions != 6 || m.Readings != 12 || !m.Walked.Equal(at(9)) {
		t.Errorf("%+v", m)
	}

	// No sensor at all: ratio × plateau is what the meter showed.
	m = maps(t, twice(9, math.NaN(), 80, 100, 90, 70, 50, 60), []light.Span{{}}, one())[0]
	for i, want := range []float64{80, 100, 90, 70, 50, 60} {
		within(t, "meter", m.Ratio[i]*float64(m.Plateau), want, smoothing)
	}
	within(t, "mean of the meter", float64(m.Plateau), 75, smoothing)
}

// The noise of a meter shows in repeats; it shrinks with the root of their number.
func TestMapError(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(7, 2026))
	var survey []field.Reading
	for range 200 { // 1200 readings: their standard deviation is known to 2 %
		w := walk(9, 100, 80, 100, 90, 70, 50, 60)
		for i := range w {
			w[i].PPFD *= math.Exp(0.03 * random.NormFloat64())
		}
		survey = append(survey, w...)
	}
	m := maps(t, survey, []light.Span{{}}, one(field.Anchor{Position: place(1, 2), Weight: 1}))[0]
	within(t, "at the sensor", m.RelativeError[1], 0, 1e-6)
	// Elsewhere it is that of the position and that of the sensor's place, with how a
	// meter is held (1 %) each time; and for good what a meter sees of light that comes
	// aslant, 1 % by spread of the bowl, of which the corner lies 2.12 from the middle.
	got := math.Sqrt(square(m.RelativeError[0])-square(0.01*2.12)) / math.Sqrt(2.0/200)
	if want := math.Hypot(0.03, 0.01); math.Abs(got/want-1) > 0.08 || math.Abs(m.Noise/0.03-1) > 0.07 {
		t.Errorf("noise %v and %v, want %v and 0.03", got, m.Noise, want)
	}
	// Read once each, it can't be told from what places differ by: then some 6 % are
	// likely, and twice that is not ruled out.
	m = maps(t, survey[:6], []light.Span{{}}, one(field.Anchor{Position: place(1, 2), Weight: 1}))[0]
	if got := m.RelativeError[0] / math.Sqrt2; got < 0.05 || got > 0.12 {
		t.Errorf("noise %v, want about 0.06 or somewhat more", got)
	}
}

// A map ends with its epoch; the next begins with the next walk.
func TestEpochs(t *testing.T) {
	t.Parallel()
	epochs := []light.Span{{Until: at(30)}, {From: at(30), Until: at(60)}, {From: at(60)}}
	survey := append(twice(9, 100, 80, 100, 90, 70, 50, 60), twice(70, 100, 60, 100, 90, 70, 50, 80)...)
	anchor := one(field.Anchor{Position: place(1, 2), Weight: 1})
	got := maps(t, survey, epochs, anchor)
	if len(got) != 2 {
		t.Fatalf("%d maps", len(got))
	}
	if d := got[0].During; !d.From.IsZero() || !d.Until.Equal(at(30)) {
		t.Errorf("the first map holds %v", d)
	}
	if d := got[1].During; !d.From.Equal(at(70)) || !d.Until.IsZero() {
		t.Errorf("the last map holds %v", d)
	}
	within(t, "first", got[0].Ratio[0], 0.8, smoothing)
	within(t, "last", got[1].Ratio[0], 0.6, smoothing)
}

func TestSurveysThatShowNothing(t *testing.T) {
	t.Parallel()
	for what, c := range map[string]struct {
		survey []field.Reading
		says   string
		maps   int
	}{
		"all equal":              {walk(9, 100, 80, 80, 80, 80, 80, 80), "equal", 0},
		"one position":           {walk(9, 100, 80), "one position", 1},
		"in the dark":            {walk(9, 100, 0, 0.5), "in the dark", 0},
		"sensor in the dark":     {walk(9, 0.2, 80, 90), "sensor was in the dark", 0},
		"sensor silent in parts": {append(walk(9, 100, 80, 90, 95), walk(10, math.NaN(), 1000)...), "silent", 1},
	} {
		got, remarks := field.Maps(bin, c.survey, []light.Span{{}}, one(field.Anchor{Position: place(1, 1), Weight: 1}))
		if len(got) != c.maps || len(remarks) != 1 || !strings.Contains(remarks[0], c.says) {
			t.Errorf("%s: %d maps, %q", what, len(got), remarks)
		}
	}
	// A single reading in a bin without sensors is what that position gets, and of
	// the others it is known what lamps do.
	got, _ := field.Maps(bin, walk(9, math.NaN(), 80), []light.Span{{}}, one())
	near(t, "one reading", got[0].Ratio[0]*float64(got[0].Plateau), 80)
	if got[0].RelativeError[5] < field.NoMapError {
		t.Errorf("another position is known to %v", got[0].RelativeError[5])
	}
}

func square(x float64) float64 { return x * x }
