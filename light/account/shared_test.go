package account_test

import (
	"math"
	"testing"
	"time"

	"parstead/light"
	"parstead/light/account"
)

// Four lux chips under one lamp know no better than one what the lamp's factor is:
// only what is each chip's own shrinks.
func TestLuxChipsShareTheLampsFactor(t *testing.T) {
	t.Parallel()
	errorOf := func(n int) account.Error {
		rack := newRack(t)
		src := &light.Memory{Readings: map[string]*light.Series{}}
		for i := range n {
			s := quantum(string(rune('a'+i)), place(1+i/2, 1+i%2))
			s.Measures, s.RelativeError, s.High = light.QuantityLux, 0.20, 150000
			rack.Sensors = append(rack.Sensors, s)
			src.Readings[s.Name] = season(rack, lamp(rack.Zone, 6700))
		}
		return find(t, allDays(t, rack, src, account.Options{Maps: ratios}), place(2, 3), "2026-10-20").Error
	}
	one, four := errorOf(1), errorOf(4)
	own := func(e account.Error) float64 { return math.Sqrt(e.Bin*e.Bin - 0.20*0.20) } // less what a missing map adds
	near(t, "one in all", math.Hypot(own(one), one.All), 0.20, 1e-9)
	near(t, "shared", four.All, one.All, 1e-9)
	near(t, "own", own(four), own(one)/2, 1e-9)
	if four.All < 0.19 {
		t.Errorf("%+v", four)
	}
}

// A sensor read once an hour under a timer whose edges lie between two readings:
// at every minute of the hour the day's light lies within 1.96 of the stated error,
// and the error is not wide for nothing. Every minute of the timer's edge is tried.
func TestSparseReadingsCarryTheTimersEdges(t *testing.T) {
	t.Parallel()
	within, worst, stated := 0, 0.0, 0.0
	for m := range 60 {
		rack := newRack(t)
		on, off := 7*60+m, 21*60+(m*37)%60
		rack.Lamps[0].On[0], rack.Lamps[0].Off[0] = light.TimeOfDay(time.Duration(on)*time.Minute), light.TimeOfDay(time.Duration(off)*time.Minute)
		s := quantum("a", place(1, 1))
		s.Every, s.MaxGap, s.RelativeError = time.Hour, 3*time.Hour, 0
		rack.Sensors = []light.Sensor{s}
		series := &light.Series{}
		for at := rack.Trial().From.Add(-time.Hour); at.Before(rack.Trial().Until.Add(2 * time.Hour)); at = at.Add(time.Hour) {
			local := at.In(rack.Zone)
			ppfd := 0.0
			if now := local.Hour()*60 + local.Minute(); now >= on && now < off {
				ppfd = 100
			}
			series.Add(at, ppfd, light.OwnTime)
		}
		f := find(t, allDays(t, rack, &light.Memory{Readings: map[string]*light.Series{"a": series}}, account.Options{}), place(1, 1), "2026-10-20")
		truth := 100 * float64(off-on) * 60 / 1e6
		e := math.Log(float64(f.DLI) / truth)
		worst, stated = max(worst, math.Abs(e)), f.Error.Total()
		if math.Abs(e) <= 1.96*stated {
			within++
		}
	}
	t.Logf("%d of 60 within, worst %.3f, stated %.3f", within, worst, stated)
	if within < 55 || worst < 0.02 || stated > 0.04 {
		t.Errorf("%d of 60 within, worst %.3f, stated %.3f", within, worst, stated)
	}
}
