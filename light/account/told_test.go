package account_test

import (
	"context"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// A lux chip that holds its ceiling through noon measures nothing then; a single such
// reading may be true.
func TestAChipAtItsCeiling(t *testing.T) {
	t.Parallel()
	for _, ceiling := range []float64{54612.5, 54612} {
		rack := newRack(t)
		chip := quantum("a", place(1, 1))
		chip.Measures, chip.High = light.QuantityLux, 150000
		rack.Sensors = []light.Sensor{chip}
		s := noisy(rack, 50000, 1)
		change(s, local(t, rack, "2026-10-20 11:00"), local(t, rack, "2026-10-20 13:00"), func(float64) float64 { return ceiling })
		change(s, local(t, rack, "2026-10-21 11:00"), local(t, rack, "2026-10-21 11:05"), func(float64) float64 { return ceiling })
		got := seasonOf(t, rack, &light.Memory{Readings: map[string]*light.Series{"a": s}})
		told := about(got.Remarks, "a")
		if len(told) != 1 || !strings.Contains(told[0], "24 readings from 2026-10-20 11:00 until 2026-10-20 12:55 are marks of saturation") {
			t.Errorf("%v: %q", ceiling, told)
		}
		if f := find(t, got.Days, place(1, 1), "2026-10-20"); f.Covered > 0.93 || f.Filled == 0 {
			t.Errorf("%+v", f)
		}
		if f := find(t, got.Days, place(1, 1), "2026-10-21"); f.Covered != 1 {
			t.Errorf("%+v", f)
		}
	}
}

// A survey in lux beside a PPFD sensor needs no factor of the lamp: it cancels.
func TestALuxSurveyBesideAPPFDSensor(t *testing.T) {
	t.Parallel()
	build := func(factor light.LuxPerPPFD) *account.Season {
		rack := newRack(t)
		rack.Lamps[0].LuxPerPPFD = factor
		rack.Sensors = []light.Sensor{quantum("a", place(1, 1))}
		walk(rack, local(t, rack, "2026-10-13 10:00"), 80*67, 100*67, 90*67, 70*67, 50*67, 60*67)
		for i := range rack.Survey {
			rack.Survey[i].Measures = light.QuantityLux
		}
		return seasonOf(t, rack, &light.Memory{Readings: map[string]*light.Series{"a": noisy(rack, 80, 1)}})
	}
	with, without := build(67), build(0)
	for i, d := range without.Days {
		near(t, d.Position.String(), float64(d.DLI), float64(with.Days[i].DLI), 1e-9)
	}
	if len(without.Remarks) != 0 {
		t.Errorf("%q", without.Remarks)
	}
}

// What is not known of how water dims light is part of the error of what is read
// above it, the same at all places of the bin (Beer's law).
func TestAttenuationHasAnError(t *testing.T) {
	t.Parallel()
	errorOf := func(e, depth float64) account.Error {
		rack := newRack(t)
		rack.Bins[0].WaterCM, rack.Bins[0].Attenuation, rack.Bins[0].AttenuationError = 8, 4, e
		s := quantum("a", place(1, 1))
		s.DepthCM, s.Immersion = depth, min(depth, 1)
		rack.Sensors = []light.Sensor{s}
		got := seasonOf(t, rack, &light.Memory{Readings: map[string]*light.Series{"a": noisy(rack, 80, 1)}})
		return find(t, got.Days, place(1, 1), "2026-10-20").Error
	}
	near(t, "in air", errorOf(0.25, 0).Bin, 0.25*4*0.08, 1e-12)
	near(t, "half way", errorOf(0.25, 4).Bin, 0.25*4*0.04, 1e-12)
	near(t, "at the plants", errorOf(0.25, 8).Bin, 0, 1e-12)
	near(t, "in all", errorOf(0.25, 0).Total(), math.Hypot(0.25*4*0.08, 0.05), 1e-12)
}

// Of three sensors one falls by 1 % a week: dli tells it too.
func TestDriftingIsTold(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Ends = rack.Starts.Add(48)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1)), quantum("b", place(1, 2)), quantum("c", place(2, 3))}
	src := &light.Memory{Readings: map[string]*light.Series{"a": noisy(rack, 80, 1), "b": noisy(rack, 100, 2), "c": noisy(rack, 60, 3)}}
	if told := seasonOf(t, rack, src).Remarks; len(told) != 0 && strings.Contains(strings.Join(told, " "), "Sensor") {
		t.Errorf("%q", told)
	}
	s, from := src.Readings["b"], rack.Trial().From.UnixNano()
	for i, at := range s.Times {
		s.Values[i] *= math.Pow(0.99, time.Duration(at-from).Hours()/24/7)
	}
	told := about(seasonOf(t, rack, src).Remarks, "b")
	if len(told) != 1 || !strings.Contains(told[0], "has come to read -6 % against the other sensors of bin upper, by 1.0 % a week") {
		t.Errorf("%q", told)
	}
}

// counted is a source that counts how often it is asked for readings.
type counted struct {
	light.Source
	asked *int
}

func (c counted) Series(ctx context.Context, sensor string, during light.Span, dst *light.Series) error {
	*c.asked++
	return c.Source.Series(ctx, sensor, during, dst)
}

// Whether the sun reaches a bin is looked up once, however often an account is asked.
func TestTheSunIsLookedForOnce(t *testing.T) {
	t.Parallel()
	rack := newRack(t)
	rack.Sensors = []light.Sensor{quantum("a", place(1, 1))}
	random := rand.New(rand.NewPCG(1, 1))
	asked := 0
	src := counted{&light.Memory{Readings: map[string]*light.Series{"a": season(rack, func(time.Time) float64 { return 100 + random.NormFloat64() })}}, &asked}
	a := account.New(rack, src, account.Options{Maps: ratios})
	each := make([]int, 2)
	for i := range each {
		before := asked
		if _, err := a.Days(t.Context(), rack.Starts.Add(10), rack.Starts.Add(11)); err != nil {
			t.Fatal(err)
		}
		each[i] = asked - before
	}
	if each[0]-each[1] != 14 {
		t.Errorf("read %d times, then %d", each[0], each[1])
	}
}
