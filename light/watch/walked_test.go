package watch

import (
	"math"
	"regexp"
	"testing"
	"time"

	"parstead/light"
)

// A bin's only sensor falls by 2 % a week, which nothing at the rack can tell from an
// ageing lamp; beside a meter that walked the bin twice it is told, with its rate, until
// the sensor is wiped. The truth is exact; the meter's noise is 1 %.
func TestASensorDriftsBesideTheMeter(t *testing.T) {
	t.Parallel()
	g := newRig(t, 70)
	start := g.rack.Trial().From
	g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
		if s.Name == "upper lux" {
			v *= math.Pow(0.98, at.Sub(start).Hours()/24/7)
		}
		return v, true
	}
	for _, week := range []int{0, 9} {
		for i := range 8 { // each place twice
			at := start.AddDate(0, 0, 7*week+1).Add(12*time.Hour + time.Duration(i)*time.Minute)
			p := light.Position{Bin: "upper", Row: i/2%2 + 1, Column: i%2 + 1}
			value := []float64{80, 100, 90, 70}[i%4] * (1 + 0.01*g.rng.NormFloat64())
			g.rack.Survey = append(g.rack.Survey, light.SurveyReading{At: at, Position: p, Measures: light.QuantityPPFD, Value: value})
		}
	}
	g.play()
	w := New(&g.rack)
	drifting := func(day int) (found []Condition) {
		all, err := w.At(t.Context(), &g.memory, start.AddDate(0, 0, day).Add(14*time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range all {
			if c.Kind == Drifting && c.Bin == "upper" {
				found = append(found, c)
			}
		}
		return found
	}
	if got := drifting(60); len(got) != 0 {
		t.Errorf("before the second walk: %+v", got)
	}
	got := drifting(64)
	if len(got) != 1 || got[0].Sensor != "upper lux" || !regexp.MustCompile(`since the walk of 2026-07-22, -(1\.[7-9]|2\.[0-3]) % a week`).MatchString(got[0].Says) {
		t.Fatalf("%+v", got)
	}
	g.memory.Log = append(g.memory.Log, light.Event{ID: 1, Kind: light.SensorCleaned, Sensor: "upper lux", At: start.AddDate(0, 0, 65)})
	if got := drifting(66); len(got) != 0 {
		t.Errorf("wiped: %+v", got)
	}
}
