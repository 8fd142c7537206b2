// Package field makes light maps: from walks over a bin's positions with a
// handheld meter, how much more or less light each position gets than the bin's
// sensors show.
package field

import (
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// Reading is one value of a handheld meter with what the bin's sensors showed
// at that instant.
type Reading struct {
	At        time.Time
	Position  light.Position
	PPFD      float64 // µmol m⁻² s⁻¹, at the height of the plants
	Reference float64 // PPFD by the bin's sensors as they stand; NaN where none read
	Meter     string
}

// Anchor is a sensor of the bin: the map is 1 at the anchors' places.
type Anchor struct {
	Position light.Position // a whole bin: the mean over its positions
	Weight   float64        // 1 over the square of its relative error
}

// Map is how light was spread over a bin's positions for a stretch of time.
type Map struct {
	Bin           string
	During        light.Span
	Ratio         []float64  // by light.Bin.Index: over the bin's sensors; NaN where not known
	RelativeError []float64  // one standard deviation of each ratio, as a share of it
	Plateau       light.PPFD // what a ratio of 1 stood for while the walk was on
	OwnScale      bool       // scaled to the meter: no sensor of the bin to scale to
	Surveyed      []bool     // by light.Bin.Index: whether the meter stood there
}

// darkest is the PPFD in µmol m⁻² s⁻¹ below which neither meter nor sensor says
// anything about how a lamp's light is spread (common practice, no source).
const darkest = 1

// Maps makes the maps of one bin. The survey's readings may be in any order.
// Epochs are the stretches between logged events that change how light is
// spread, in order; no map holds beyond its epoch. The first epoch's map holds
// from its beginning: nothing had changed before the walk. A later epoch's map
// begins with its first reading. Anchors gives the sensors that stood in the bin
// at an instant.
//
// Remarks say, in whole sentences, what of the survey shows nothing and is left
// out: the meter or the sensor in the dark, all readings equal, one position.
func Maps(bin light.Bin, survey []Reading, epochs []light.Span, anchors func(time.Time) []Anchor) (maps []Map, remarks []string) {
	for i, epoch := range epochs {
		var walk []Reading
		for _, r := range survey {
			if epoch.Holds(r.At) && bin.Contains(r.Position) {
				walk = append(walk, r)
			}
		}
		if len(walk) == 0 {
			continue
		}
		slices.SortStableFunc(walk, func(a, b Reading) int { return a.At.Compare(b.At) })
		during := epoch
		if i > 0 {
			during.From = walk[0].At
		}
		lit, told := usable(bin, walk)
		remarks = append(remarks, told...)
		if len(lit) == 0 {
			continue
		}
		m := plain(bin, lit, anchors(lit[0].At))
		m.During = during
		maps = append(maps, m)
	}
	return maps, remarks
}

// usable is what of a walk can make a map; empty if nothing can.
func usable(bin light.Bin, walk []Reading) (lit []Reading, remarks []string) {
	where := fmt.Sprintf("survey of bin %s on %s", bin.Name, walk[0].At.UTC().Format(time.DateOnly))
	say := func(format string, args ...any) {
		remarks = append(remarks, where+": "+fmt.Sprintf(format, args...))
	}
	referred := slices.ContainsFunc(walk, func(r Reading) bool { return !math.IsNaN(r.Reference) })
	meterDark, sensorDark, silent := 0, 0, 0
	places := map[light.Position]bool{}
	equal := true
	for _, r := range walk {
		switch {
		case r.PPFD < darkest:
			meterDark++
		case referred && math.IsNaN(r.Reference):
			silent++
		case referred && r.Reference < darkest:
			sensorDark++
		default:
			lit = append(lit, r)
			places[r.Position] = true
			equal = equal && r.PPFD == lit[0].PPFD
		}
	}
	if meterDark > 0 {
		say("%d readings in the dark are left out: walk while the lamp is on.", meterDark)
	}
	if sensorDark > 0 {
		say("%d readings are left out because the bin's sensor was in the dark meanwhile: look at the sensor and at the times of the walk.", sensorDark)
	}
	if silent > 0 {
		say("%d readings are left out because the bin's sensors were silent meanwhile.", silent)
	}
	switch {
	case len(lit) == 0:
		return nil, remarks
	case len(places) == 1 && referred:
		say("one position shows nothing of how light is spread: walk over more of them.")
		return nil, remarks
	case len(lit) > 2 && equal:
		say("all readings are equal: the meter held its value, or was not read.")
		return nil, remarks
	}
	return lit, remarks
}
