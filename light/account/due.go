package account

import (
	"time"

	"parstead/light"
)

// Coverage is the share of a day that readings cover, on average over the
// positions whose light is known; 0 where none is.
func Coverage(bin light.Bin, day map[light.Position]Figure) float64 {
	covered, known := 0.0, 0
	for _, p := range bin.Positions() {
		if f := day[p]; f.Known {
			covered, known = covered+f.Covered, known+1
		}
	}
	if known == 0 {
		return 0
	}
	return covered / float64(known)
}

// DueByNow is the light that a bin's positions should have had of the running day
// so far: of the target, or without one of what the day before gave on average,
// the share of the lit hours that have passed.
func DueByNow(rack *light.Rack, bin light.Bin, yesterday map[light.Position]Figure, now time.Time) (due light.DLI, ok bool) {
	whole := bin.TargetDLI
	if whole == 0 {
		sum, known := 0.0, 0
		for _, p := range bin.Positions() {
			if f := yesterday[p]; f.Known {
				sum, known = sum+float64(f.DLI), known+1
			}
		}
		if known > 0 {
			whole = light.DLI(sum / float64(known))
		}
	}
	share, lit := litSoFar(rack, bin, now)
	if !lit || whole <= 0 {
		return 0, false
	}
	return light.DLI(share) * whole, true
}

// litSoFar is the share of today's lit hours that have passed by the timers.
func litSoFar(rack *light.Rack, bin light.Bin, now time.Time) (share float64, ok bool) {
	var passed, whole time.Duration
	for _, s := range rack.Lit(bin, rack.Day(rack.DateAt(now))) {
		whole += s.Length()
		if part, ok := s.Within(light.Span{Until: now}); ok {
			passed += part.Length()
		}
	}
	return passed.Seconds() / whole.Seconds(), whole > 0
}
