package field

import (
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/light"
)

// When two walks are two, and when they have parted.
const (
	walkPause   = 12 * time.Hour // without a reading: the next one begins another walk
	partedP     = 0.001          // of the ratios' differences, by chi-squared
	partedLeast = 4              // positions that both walked
	mostOfOne   = 2.2            // standard deviations that one position counts for: a wild reading is no pattern
	driftShare  = 0.05           // by which the sensors have changed beside one meter, natural log
	driftZ      = 4.0
	meterRepeat = 0.02 // by how much a meter in the same hand may come back otherwise (common practice, no source)

	heldOtherwise = 0.04 // by how much a reading differs for the meter's height and angle, held alike for a row or two (the same)
)

// walksOf parts readings in order of time into walks.
func walksOf(readings []Reading) (walks [][]Reading) {
	first := 0
	for i := range readings {
		if i+1 == len(readings) || readings[i+1].At.Sub(readings[i].At) > walkPause {
			walks = append(walks, readings[first:i+1])
			first = i + 1
		}
	}
	return walks
}

// sighting is what a walk shows at each position, by itself.
type sighting struct {
	at    time.Time
	meter string
	mean  map[int]float64 // log ratios by place
	n     map[int]float64
	noise float64

	referred bool // whether the bin's sensors read meanwhile
}

func see(fit fitter, bin light.Bin, walk []Reading) (*sighting, error) {
	m, err := fit(bin, walk, nil)
	if err != nil {
		return nil, err
	}
	var used []Reading
	for _, r := range m.Residuals {
		if !r.Aside {
			used = append(used, r.Reading)
		}
	}
	w := group(bin, used)
	x := &sighting{at: walk[0].At, meter: used[0].Meter, mean: map[int]float64{}, n: map[int]float64{}, noise: m.Noise, referred: !math.IsNaN(used[0].Reference)}
	for i, c := range w.cell {
		if w.meter[i] == 0 {
			x.mean[c], x.n[c] = w.mean[i], w.n[i]
		}
	}
	return x, nil
}

// apart compares two walks at the positions that both saw: the mean difference of
// the log ratios with its error, and whether the pattern has changed beyond chance.
func apart(a, b *sighting) (shift, sd float64, parted, comparable bool) {
	noise := max(a.noise, b.noise)
	sum, weights := 0.0, 0.0
	each := func(do func(d, w float64)) {
		for c, x := range a.mean {
			if y, ok := b.mean[c]; ok {
				do(y-x, 1/(noise*noise*(1/a.n[c]+1/b.n[c])+2*heldOtherwise*heldOtherwise))
			}
		}
	}
	places := 0
	each(func(d, w float64) { sum, weights, places = sum+w*d, weights+w, places+1 })
	if places < partedLeast {
		return 0, 0, false, false
	}
	shift = sum / weights
	square := 0.0
	each(func(d, w float64) { square += min(w*(d-shift)*(d-shift), mostOfOne*mostOfOne) })
	p := distuv.ChiSquared{K: float64(places - 1)}.Survival(square)
	return shift, math.Sqrt(1/weights + meterRepeat*meterRepeat), p < partedP, true
}

// epochsOf cuts an epoch where a walk has parted from the one before it, and tells
// of that and of sensors that have changed beside the meter.
func epochsOf(fit fitter, bin light.Bin, walk []Reading, epoch light.Span) (epochs []light.Span, doubts []Doubt, err error) {
	epochs = []light.Span{epoch}
	walks := walksOf(walk)
	if len(walks) < 2 || bin.Daylight == light.Sunlit {
		return epochs, nil, nil
	}
	before, err := see(fit, bin, walks[0])
	if err != nil {
		return nil, nil, err
	}
	for _, w := range walks[1:] {
		now, err := see(fit, bin, w)
		if err != nil {
			return nil, nil, err
		}
		shift, sd, parted, comparable := apart(before, now)
		switch {
		case !comparable:
			continue // the walk before stays the one to compare with
		case parted:
			i := len(epochs) - 1
			epochs = append(epochs, light.Span{From: now.at, Until: epochs[i].Until})
			epochs[i].Until = now.at
			doubts = append(doubts, Doubt{
				Line: w[0].Row,
				Says: fmt.Sprintf("the walk of %s shows light spread over bin %s otherwise than the one of %s; the first map ends here", day(now.at), bin.Name, day(before.at)),
				Mend: "log when a lamp or a reflector was moved, so that the days before it keep their map",
			})
		case drifted(before, now, shift, sd):
			d := Drift{before.at, now.at, -shift}
			doubts = append(doubts, Doubt{
				Line: w[0].Row,
				Says: fmt.Sprintf("beside the meter, the sensors of bin %s read %+.0f %% since the walk of %s, %+.1f %% a week: they or the meter have drifted", bin.Name, 100*math.Expm1(d.By), day(d.Since), 100*d.Weekly()),
				Mend: "wipe the sensors and look at their height; walk again",
			})
		}
		before = now
	}
	return epochs, doubts, nil
}

// drifted tells whether sensors have changed beside one meter from one walk to another.
func drifted(before, now *sighting, shift, sd float64) bool {
	return before.meter == now.meter && before.referred && now.referred && math.Abs(shift) > max(driftShare, driftZ*sd)
}

// Drift is by how much a sensor has changed beside a meter from one walk to another.
type Drift struct {
	Since, Until time.Time // the walks
	By           float64   // natural logarithm
}

// Weekly is the change in a week, as a share.
func (d Drift) Weekly() float64 {
	return math.Expm1(d.By / (d.Until.Sub(d.Since).Hours() / (24 * 7)))
}

// Drifted compares the last walk over a bin with the first, under lamps that nobody
// touched in between: ok where what the readings refer to has changed, and not the
// pattern of light. The readings are in order of time.
func Drifted(bin light.Bin, readings []Reading) (d Drift, ok bool) {
	walks := walksOf(readings)
	if len(walks) < 2 {
		return d, false
	}
	first, err := see(fit, bin, walks[0])
	if err != nil {
		return d, false
	}
	last, err := see(fit, bin, walks[len(walks)-1])
	if err != nil {
		return d, false
	}
	shift, sd, parted, comparable := apart(first, last)
	if !comparable || parted || !drifted(first, last, shift, sd) {
		return d, false
	}
	return Drift{first.at, last.at, -shift}, true
}
