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

	Method      string    // "kriging", "plane", "mean", or "reading" for one position that is known alone
	Walked      time.Time // the first reading that was used
	Positions   int       // surveyed ones
	Readings    int
	Noise       float64 // standard deviation of one reading, as a share
	LeaveOneOut float64 // root mean square error of surveyed positions from the others, as a share; NaN for one
}

// darkest is the PPFD in µmol m⁻² s⁻¹ below which neither meter nor sensor says
// anything about how a lamp's light is spread (common practice, no source).
const darkest = 1

// Maps makes the maps of one bin. The survey's readings may be in any order.
// Epochs are the stretches between logged events that change how light is
// spread, in order; no map holds beyond its epoch. The map of an
// epoch without a beginning holds from there: nothing had changed before the
// walk. Another epoch's map begins with its first reading. Anchors gives the sensors that stood in the bin
// at an instant.
//
// Remarks say, in whole sentences, what of the survey shows nothing and is left
// out: the meter or the sensor in the dark, all readings equal, one position.
func Maps(bin light.Bin, survey []Reading, epochs []light.Span, anchors func(time.Time) []Anchor) (maps []Map, remarks []string) {
	return mapsBy(fit, bin, survey, epochs, anchors)
}

// fitter makes the map of usable readings.
type fitter func(bin light.Bin, walk []Reading, anchors []Anchor) (Map, error)

func mapsBy(fit fitter, bin light.Bin, survey []Reading, epochs []light.Span, anchors func(time.Time) []Anchor) (maps []Map, remarks []string) {
	for _, epoch := range epochs {
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
		if !epoch.From.IsZero() {
			during.From = walk[0].At
		}
		lit, told := usable(bin, walk)
		remarks = append(remarks, told...)
		if len(lit) == 0 {
			continue
		}
		m, err := fit(bin, lit, anchors(lit[0].At))
		if err != nil {
			remarks = append(remarks, fmt.Sprintf("survey of bin %s on %s: %v.", bin.Name, day(walk[0].At), err))
			continue
		}
		m.During, m.Walked = during, lit[0].At
		maps = append(maps, m)
	}
	return maps, remarks
}

// usable is what of a walk can make a map; empty if nothing can.
func usable(bin light.Bin, walk []Reading) (lit []Reading, remarks []string) {
	where := fmt.Sprintf("survey of bin %s on %s", bin.Name, day(walk[0].At))
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

func day(t time.Time) string { return t.UTC().Format(time.DateOnly) }

// fit makes the map of usable readings.
func fit(bin light.Bin, walk []Reading, anchors []Anchor) (Map, error) {
	m := Map{Bin: bin.Name, Readings: len(walk), Surveyed: make([]bool, bin.Rows*bin.Columns)}
	for _, r := range walk {
		if i := bin.Index(r.Position); !m.Surveyed[i] {
			m.Surveyed[i] = true
			m.Positions++
		}
	}
	if m.Positions == 1 {
		m.single(walk)
		return m, nil
	}
	s, err := Smooth(bin, walk)
	if err != nil {
		return m, err
	}
	m.Method, m.Noise, m.LeaveOneOut = s.Method, s.Noise, s.LeaveOneOut
	referred := !math.IsNaN(walk[0].Reference)
	reference := 0.0 // mean of the logarithms
	if referred {
		for _, r := range walk {
			reference += math.Log(r.Reference) / float64(len(walk))
		}
	}
	if len(anchors) > 0 {
		scale := 0.0
		m.Ratio, m.RelativeError, scale = s.Relative(at(bin, anchors))
		if m.Plateau = light.PPFD(math.Exp(reference)); !referred {
			m.Plateau = light.PPFD(scale)
		}
		return m, nil
	}
	m.OwnScale = true
	scale := 1.0
	if m.Plateau = light.PPFD(math.Exp(reference)); !referred {
		_, _, scale = s.Relative(at(bin, []Anchor{{Position: light.Position{Bin: bin.Name}, Weight: 1}}))
		m.Plateau = light.PPFD(scale)
	}
	for i, x := range s.Log {
		m.Ratio = append(m.Ratio, math.Exp(x)/scale)
		m.RelativeError = append(m.RelativeError, math.Sqrt(s.Covariance(i, i)))
	}
	return m, nil
}

// single knows the one surveyed position of a bin without sensors.
func (m *Map) single(walk []Reading) {
	m.Method, m.OwnScale, m.Noise, m.LeaveOneOut = "reading", true, meterNoise, math.NaN()
	mean := 0.0
	for _, r := range walk {
		mean += math.Log(r.PPFD) / float64(len(walk))
	}
	m.Plateau = light.PPFD(math.Exp(mean))
	for _, surveyed := range m.Surveyed {
		ratio := math.NaN()
		if surveyed {
			ratio = 1
		}
		m.Ratio = append(m.Ratio, ratio)
		m.RelativeError = append(m.RelativeError, meterNoise/math.Sqrt(float64(len(walk))))
	}
}

// at gives the anchors' weights to the positions at which they stand, summing
// to 1; the positions share that of an anchor for the whole bin.
func at(bin light.Bin, anchors []Anchor) []float64 {
	weights := make([]float64, bin.Rows*bin.Columns)
	sum := 0.0
	for _, a := range anchors {
		sum += a.Weight
		if !a.Position.WholeBin() {
			weights[bin.Index(a.Position)] += a.Weight
			continue
		}
		for i := range weights {
			weights[i] += a.Weight / float64(len(weights))
		}
	}
	for i := range weights {
		weights[i] /= sum
	}
	return weights
}

// At is the ratio at a position; for a whole bin its mean over the positions
// where it is known. NaN if not known.
func At(bin light.Bin, ratio []float64, p light.Position) float64 {
	if !p.WholeBin() {
		return ratio[bin.Index(p)]
	}
	sum, n := 0.0, 0.0
	for _, x := range ratio {
		if !math.IsNaN(x) {
			sum += x
			n++
		}
	}
	return sum / n
}
