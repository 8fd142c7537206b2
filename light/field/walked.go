package field

import (
	"math"
	"slices"

	"parstead/light"
)

// logRatio is the logarithm of the reading over the reference, or over 1.
func logRatio(r Reading) float64 {
	if math.IsNaN(r.Reference) {
		return math.Log(r.PPFD)
	}
	return math.Log(r.PPFD / r.Reference)
}

// walked is a walk with the repeats of one meter at one place averaged.
type walked struct {
	grid   grid
	cell   []int // the place of each mean
	meter  []int // and its meter
	meters int
	mean   []float64 // of the logarithms of its readings
	n      []float64 // how many these are
	within float64   // sum of squares of readings about their means
	df     float64   // its degrees of freedom
	of     []int     // by reading: the mean it went into
	from   []float64 // by reading: how far it lies from it
	visit  []int     // by reading: the walk, of several, that it was taken on
	places int       // distinct ones
	noises []float64 // that a reading may have

	pairs  [][]node // by average: of each noise with each spread
	blocks []*block // by average, each
}

func group(bin light.Bin, walk []Reading) *walked {
	w := &walked{grid: gridOf(bin)}
	type key struct{ cell, meter int }
	var keys []key
	var meters []string
	cells := map[int]bool{}
	for j, r := range walk {
		if j == 0 {
			w.visit = append(w.visit, 0)
		} else {
			w.visit = append(w.visit, w.visit[j-1])
			if r.At.Sub(walk[j-1].At) > anotherWalk {
				w.visit[j]++
			}
		}
		k := key{bin.Index(r.Position), slices.Index(meters, r.Meter)}
		if k.meter < 0 {
			k.meter = len(meters)
			meters = append(meters, r.Meter)
		}
		cells[k.cell] = true
		i := slices.Index(keys, k)
		if i < 0 {
			i = len(keys)
			keys = append(keys, k)
			w.cell, w.meter = append(w.cell, k.cell), append(w.meter, k.meter)
			w.mean, w.n = append(w.mean, 0), append(w.n, 0)
		}
		w.of = append(w.of, i)
		w.from = append(w.from, logRatio(r))
		w.n[i]++
		w.mean[i] += (logRatio(r) - w.mean[i]) / w.n[i]
	}
	for k, i := range w.of {
		w.from[k] -= w.mean[i]
		w.within += w.from[k] * w.from[k]
	}
	w.meters, w.places = len(meters), len(cells)
	w.df = float64(len(walk) - len(keys))
	w.noises = ladder(w.leastNoise(), len(noises))
	return w
}

// even tells whether every place has one mean, each of as many readings as any other.
func (w *walked) even() bool {
	return w.places == len(w.cell) && slices.Min(w.n) == slices.Max(w.n)
}

// leastNoise is that of noises, shifted so that what the repeats show is one of the
// values: many of them know better than the steps between values are wide.
func (w *walked) leastNoise() float64 {
	if w.df == 0 {
		return noises[0]
	}
	seen := math.Sqrt(w.within / w.df)
	seen = min(max(seen, noises[0]), noises[len(noises)-1])
	rungs := math.Log(seen/noises[0]) / math.Log(step)
	return noises[0] * math.Pow(step, rungs-math.Round(rungs))
}
