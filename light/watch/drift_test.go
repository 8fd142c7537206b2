package watch

import (
	"math"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

// Of three sensors one loses 1 % a week: it is named by its rate. Of two neither
// can be. A lone one tells of a step, beyond what its days did before. The racks are
// those of this file's neighbour; other people's worlds judge under the tag worlds.
func TestDriftingSensors(t *testing.T) {
	t.Parallel()
	for what, c := range map[string]struct {
		bin, sensor string
		change      func(day, value float64) float64
		says        string // "": nothing
	}{
		"of three":       {"middle", "middle second", func(d, v float64) float64 { return v * math.Pow(0.99, d/7) }, "Sensor middle second"},
		"of three, leaf": {"middle", "middle third", func(d, v float64) float64 { return v * (1 - 0.12*math.Floor(min(1, d/30))) }, "Sensor middle third"},
		"lone, leaf":     {"upper", "upper lux", func(d, v float64) float64 { return v * (1 - 0.09*math.Floor(min(1, d/30))) }, "alone"},
		"clean":          {"middle", "", nil, ""},
	} {
		g := newRig(t, 50)
		start := g.rack.Trial().From
		g.change = func(s light.Sensor, at time.Time, v float64) (float64, bool) {
			if s.Name == c.sensor {
				v = c.change(at.Sub(start).Hours()/24, v)
			}
			return v, true
		}
		g.play()
		got := ""
		found, err := New(&g.rack).At(t.Context(), &g.memory, start.AddDate(0, 0, 49).Add(12*time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range found {
			if x.Kind == Drifting && x.Bin == c.bin {
				got = x.Says
			}
		}
		if (c.says == "") != (got == "") || !strings.Contains(got, c.says) {
			t.Errorf("%s: %q", what, got)
		}
	}
}

// A sensor whose zero is a little off reads no darkness below 0.
func TestADarkOffsetIsNoReading(t *testing.T) {
	t.Parallel()
	s := light.Sensor{Measures: light.QuantityPPFD, Scale: 1, High: 3000}
	for value, want := range map[float64]bool{-0.4: true, -1: true, -1.1: false, 5: true, 3001: false} {
		got, ok := s.Believed(value)
		if ok != want || ok && got < 0 {
			t.Errorf("%v: %v, %v", value, got, ok)
		}
	}
}
