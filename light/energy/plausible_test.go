package energy_test

import (
	"math"
	"testing"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/energy"
)

// The plant that never moved and has most days speaks for its bin's sensors.
func TestSeenHours(t *testing.T) {
	t.Parallel()
	stay := func(bins ...string) (p account.PlantStay) {
		for _, b := range bins {
			p.Stays = append(p.Stays, light.Stay{Position: light.Position{Bin: b, Row: 1, Column: 1}})
		}
		return p
	}
	seen := func(days int, hours float64) account.PlantLight {
		return account.PlantLight{Trial: account.Summary{Whole: days, Photoperiod: hours}}
	}
	stays := []account.PlantStay{stay("a"), stay("a"), stay("a", "b"), stay("a"), stay("b"), stay("c")}
	plants := []account.PlantLight{seen(5, 12), seen(9, 14), seen(20, 16), seen(30, math.NaN()), seen(40, 8), seen(0, 10)}
	for bin, want := range map[string]float64{"a": 14, "b": 8, "c": math.NaN(), "d": math.NaN()} {
		if got := energy.SeenHours(bin, stays, plants); got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
			t.Errorf("%s: %v h, want %v", bin, got, want)
		}
	}
	if energy.HoursApart(14, 14.5) || !energy.HoursApart(14, 14.6) || !energy.HoursApart(14, 13.4) || energy.HoursApart(14, math.NaN()) {
		t.Error("half an hour a day is the limit, and what is not known is not apart")
	}
	d := energy.Delivered{Mol: 210, Missing: 0.01}
	if d.TooLittleKnown() || d.TooMuch(10) || !d.TooMuch(9.9) {
		t.Error("21.07 mol a kWh and 1 % of the time are the limits")
	}
}
