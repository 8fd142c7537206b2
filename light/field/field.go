// Package field makes light maps: from walks over a bin's positions with a
// handheld meter, how much more or less light each position gets than the bin's
// sensors show.
package field

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"

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
	Row       light.Line // of the sheet
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

	Method      string    // "smoothed": the average over what a walk leaves open
	Walked      time.Time // the first reading that was used
	Positions   int       // surveyed ones
	Readings    int
	Noise       float64 // standard deviation of one reading, as a share
	LeaveOneOut float64 // root mean square error of surveyed positions from the others, as a share; NaN for one
	Residuals   []Residual
	Doubts      []Doubt
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
		if !epoch.From.IsZero() {
			epoch.From = walk[0].At
		}
		lit, told := usable(bin, walk)
		remarks = append(remarks, told...)
		if len(lit) == 0 {
			continue
		}
		parts, doubts, err := epochsOf(fit, bin, lit, epoch)
		if err != nil {
			remarks = append(remarks, fmt.Sprintf("survey of bin %s on %s: %v.", bin.Name, day(walk[0].At), err))
			continue
		}
		for i, part := range parts {
			from := slices.IndexFunc(lit, func(r Reading) bool { return part.Holds(r.At) })
			until := from
			for until < len(lit) && part.Holds(lit[until].At) {
				until++
			}
			m, err := fit(bin, lit[from:until:until], anchors(lit[from].At))
			if err != nil {
				remarks = append(remarks, fmt.Sprintf("survey of bin %s on %s: %v.", bin.Name, day(lit[from].At), err))
				continue
			}
			if i == 0 {
				m.Doubts = append(doubts, m.Doubts...)
			}
			for _, d := range m.Doubts {
				remarks = append(remarks, d.Sentence())
			}
			m.During, m.Walked = part, lit[from].At
			maps = append(maps, m)
		}
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
	case len(lit) > 2 && equal:
		say("all readings are equal: the meter held its value, or was not read.")
		return nil, remarks
	case len(places) == 1 && bin.Rows*bin.Columns > 1:
		say("one position says next to nothing of how light is spread: the map is what bins under lamps are like, with the error of that; walk over more of them.")
	}
	return lit, remarks
}

func day(t time.Time) string { return t.UTC().Format(time.DateOnly) }

// fit makes the map of usable readings.
func fit(bin light.Bin, walk []Reading, anchors []Anchor) (Map, error) {
	m := Map{Bin: bin.Name, Method: "smoothed", OwnScale: len(anchors) == 0, Surveyed: make([]bool, bin.Rows*bin.Columns)}
	var weights []float64
	if !m.OwnScale {
		weights = at(bin, anchors)
	}
	s := screen(bin, walk, weights)
	s.wholeWalk(bin, len(anchors))
	m.Residuals, m.Doubts = s.residuals, s.doubts
	walk, w, p := s.used, s.w, s.p
	m.Readings, m.Positions = len(walk), w.places
	for _, c := range w.cell {
		m.Surveyed[c] = true
	}
	m.Noise, m.LeaveOneOut = p.noise, leftOutError(p.means)
	m.RelativeError = p.sd
	w.inHand(&m, weights)
	w.honest(&m)
	m.Ratio = make([]float64, len(p.mean))
	for i, x := range p.mean {
		m.Ratio[i] = math.Exp(x)
	}
	scale := 1.0
	switch {
	case !m.OwnScale:
		scale = floats.Dot(weights, m.Ratio)
	case math.IsNaN(walk[0].Reference):
		scale = floats.Sum(m.Ratio) / float64(len(m.Ratio))
	}
	floats.Scale(1/scale, m.Ratio)
	m.Plateau = light.PPFD(w.plateau(walk, weights, scale))
	return m, nil
}

// plateau is what a ratio of 1 stood for during the walk: what the sensors showed,
// else on the meters' scale, where a map without sensors has its mean of scale.
func (w *walked) plateau(walk []Reading, weights []float64, scale float64) float64 {
	if !math.IsNaN(walk[0].Reference) {
		sum := 0.0
		for _, r := range walk {
			sum += math.Log(r.Reference)
		}
		return math.Exp(sum / float64(len(walk)))
	}
	if weights == nil {
		return scale
	}
	sum := 0.0
	for i, x := range w.average(nil, false).mean {
		sum += weights[i] * math.Exp(x)
	}
	return sum
}

// Light is the logarithm of the light at a bin's positions by light.Bin.Index, up
// to a constant, as a walk shows it without sensors; nil without a reading.
func Light(bin light.Bin, walk []Reading) []float64 {
	if len(walk) == 0 {
		return nil
	}
	return group(bin, walk).average(nil, false).mean
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
