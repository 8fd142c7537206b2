package daylight_test

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/daylight"
)

// rack is a bin under a lamp from 07:00 to 21:00 for four weeks of June.
func rack(timer bool) *light.Rack {
	r := &light.Rack{
		Calendar: light.Calendar{Zone: time.UTC},
		Starts:   light.Date{Year: 2026, Month: 6, Day: 1}, Ends: light.Date{Year: 2026, Month: 6, Day: 28},
		Bins: []light.Bin{{Name: "sill", Rows: 2, Columns: 3}},
		Sensors: []light.Sensor{{
			Name: "a", Measures: light.QuantityPPFD, Position: light.Position{Bin: "sill", Row: 1, Column: 1},
			Every: 10 * time.Minute, MaxGap: time.Hour, Scale: 1, High: 3000,
		}},
	}
	if timer {
		r.Lamps = []light.Lamp{{Name: "bar", On: []light.TimeOfDay{light.TimeOfDay(7 * time.Hour)}, Off: []light.TimeOfDay{light.TimeOfDay(21 * time.Hour)}}}
		r.Bins[0].Lamps = []string{"bar"}
	}
	return r
}

// sun is a clear sky's light from 5 to 19 h, a plain half wave.
func sun(at time.Time, noon float64) float64 {
	h := float64(at.Hour()) + float64(at.Minute())/60
	return noon * max(0, math.Sin(math.Pi*(h-5)/14))
}

func lamp(at time.Time) float64 {
	if at.Hour() >= 7 && at.Hour() < 21 {
		return 200
	}
	return 0
}

func of(t *testing.T, r *light.Rack, ppfd func(time.Time) float64) daylight.Signs {
	t.Helper()
	random := rand.New(rand.NewPCG(3, 2026))
	s := &light.Series{}
	for at := r.Trial().From; at.Before(r.Trial().Until); at = at.Add(10 * time.Minute) {
		s.Add(at, ppfd(at)*(1+0.01*random.NormFloat64())-0.3, light.OwnTime)
	}
	signs, err := daylight.Of(t.Context(), r, &light.Memory{Readings: map[string]*light.Series{"a": s}}, r.Bins[0], time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	return signs
}

// The sun is told by its light; a lamp alone, one left on for nights, one that was
// out, a timer that runs half an hour late are none.
func TestSunIsRecognised(t *testing.T) {
	t.Parallel()
	for what, c := range map[string]struct {
		timer bool
		ppfd  func(time.Time) float64
		want  bool
	}{
		"windowsill":        {false, func(at time.Time) float64 { return sun(at, 400) }, true},
		"greenhouse":        {true, func(at time.Time) float64 { return lamp(at) + sun(at, 300) }, true},
		"lamp":              {true, lamp, false},
		"lamp, no timer":    {false, lamp, false},
		"left on":           {true, func(at time.Time) float64 { return max(lamp(at), 200*float64(at.Day()/10%2)) }, false},
		"out in the week":   {true, func(at time.Time) float64 { return lamp(at) * float64(min(1, at.Day()/8)) }, false},
		"half an hour late": {true, func(at time.Time) float64 { return lamp(at.Add(-30 * time.Minute)) }, false},
		"warm and cold":     {true, func(at time.Time) float64 { return lamp(at) * (1 + 0.05*math.Sin(float64(at.Hour())/4)) }, false},
	} {
		if got := of(t, rack(c.timer), c.ppfd); got.Sun != c.want {
			t.Errorf("%s: sun %v (%s)", what, got.Sun, got.Why)
		}
	}
	no := rack(false)
	no.Bins[0].Daylight = light.Sunless
	if of(t, no, func(at time.Time) float64 { return sun(at, 400) }).Sun {
		t.Error("the grower said that no sun comes")
	}
}

// A lamp that switches as a day begins, read from there on only, on a day of half an
// hour less (Lord Howe Island, 2026-10-04): nothing is asked of time without readings.
func TestTheEdgesOfADay(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Australia/Lord_Howe")
	if err != nil {
		t.Fatal(err)
	}
	r := rack(true)
	r.Zone = zone
	r.Starts, r.Ends = light.Date{Year: 2026, Month: 10, Day: 4}, light.Date{Year: 2026, Month: 10, Day: 4}
	r.Lamps[0].On, r.Lamps[0].Off = []light.TimeOfDay{light.TimeOfDay(10 * time.Minute)}, []light.TimeOfDay{light.TimeOfDay(24*time.Hour - 10*time.Minute)}
	if got := of(t, r, func(time.Time) float64 { return 200 }); got.Sun {
		t.Errorf("%+v", got)
	}
}

// Where the timer switches, the readings show what the lamps give, and the rest of
// each hour is the sun's.
func TestSunAndLampsAreToldApart(t *testing.T) {
	t.Parallel()
	signs := of(t, rack(true), func(at time.Time) float64 { return lamp(at) + sun(at, 300) })
	for h, want := range map[int]float64{20: 0, 6: 1, 12: 300 * 0.99 / (300*0.99 + 200)} {
		if got := signs.Sunshine[h]; math.Abs(got-want) > 0.06 {
			t.Errorf("at %d h %.2f of the light is the sun's, want %.2f", h, got, want)
		}
	}
}
