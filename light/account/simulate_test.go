package account_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// Lamps whose output walks from day to day, read without calibration error and
// with silences of two to twelve hours on a third of the days: what is filled
// must lie within its stated error as often as it says, against the light that
// was really given. 20 seasons of 28 days; the share's Monte Carlo standard error
// is about 1.5 %.
func TestFilledLightIsWithinItsError(t *testing.T) {
	t.Parallel()
	random := rand.New(rand.NewPCG(17, 2026))
	within, n := 0.0, 0.0
	var off []float64
	for range 20 {
		rack := newRack(t)
		s := quantum("centre", place(1, 2))
		s.RelativeError = 0
		rack.Sensors = []light.Sensor{s}
		level := []float64{100}
		for range 30 {
			level = append(level, level[len(level)-1]*(1+0.02*random.NormFloat64()))
		}
		lit := lamp(rack.Zone, 1)
		series := season(rack, func(at time.Time) float64 {
			return lit(at) * level[max(0, rack.Starts.DaysUntil(rack.DateAt(at)))]
		})
		truth := find28(t, rack, &light.Memory{Readings: map[string]*light.Series{"centre": {Times: slices.Clone(series.Times), Values: slices.Clone(series.Values)}}})
		for d := range 28 {
			if random.IntN(3) == 0 {
				from := rack.Day(rack.Starts.Add(d)).From.Add(time.Duration(random.IntN(12*60)) * time.Minute)
				cut(series, from, from.Add(time.Duration(120+random.IntN(600))*time.Minute))
			}
		}
		for i, f := range find28(t, rack, &light.Memory{Readings: map[string]*light.Series{"centre": series}}) {
			if f.Filled < 0.01 {
				continue
			}
			e := float64(f.DLI/truth[i].DLI) - 1
			off = append(off, math.Abs(e))
			if math.Abs(e) <= 1.96*f.Error.Total() {
				within++
			}
			n++
		}
	}
	slices.Sort(off)
	t.Logf("%v filled days: median error %.4f, 95th percentile %.4f, %.1f %% within the stated interval", n, off[len(off)/2], off[len(off)*95/100], 100*within/n)
	if n < 100 {
		t.Fatalf("only %v filled days", n)
	}
	if within/n < 0.92 {
		t.Errorf("%.1f %% of filled days within their 95 %% interval", 100*within/n)
	}
	if off[len(off)/2] > 0.025 {
		t.Errorf("median error %v", off[len(off)/2])
	}
}

func find28(tb testing.TB, rack *light.Rack, src light.Source) (figures []account.Figure) {
	tb.Helper()
	for _, d := range allDays(tb, rack, src, account.Options{}) {
		if d.Position == place(1, 2) {
			figures = append(figures, d.Figure)
		}
	}
	return figures
}
