package field

import (
	"math"

	"parstead/light"
)

// meterNoise is the standard deviation of a handheld reading that is assumed
// where repeats don't show it, as a share: hand, height and tilt (common
// practice, no source).
const meterNoise = 0.06

// repeatsNeeded is how many repeats beyond the first show the meter's noise.
const repeatsNeeded = 5

// plain makes a map that knows the surveyed positions only: the geometric mean
// of each one's readings over the bin's sensors, divided by the like at the
// anchors. Without a sensor the readings are taken over their own mean.
func plain(bin light.Bin, walk []Reading, anchors []Anchor) Map {
	cells := bin.Rows * bin.Columns
	m := Map{
		Bin: bin.Name, Ratio: make([]float64, cells), RelativeError: make([]float64, cells),
		Surveyed: make([]bool, cells),
	}
	sum, n := make([]float64, cells), make([]float64, cells)
	reference := 0.0 // mean of the logarithms
	for _, r := range walk {
		i := bin.Index(r.Position)
		sum[i] += logRatio(r)
		n[i]++
		if !math.IsNaN(r.Reference) {
			reference += math.Log(r.Reference) / float64(len(walk))
		}
	}
	noise := noise(bin, walk, sum, n)
	for i := range m.Ratio {
		m.Ratio[i], m.RelativeError[i] = math.NaN(), math.NaN()
		if n[i] > 0 {
			m.Ratio[i] = math.Exp(sum[i] / n[i])
			m.RelativeError[i] = noise / math.Sqrt(n[i])
			m.Surveyed[i] = true
		}
	}
	scale, ok := atAnchors(bin, m.Ratio, anchors)
	if !ok {
		m.OwnScale = true
		scale = 1
		if math.IsNaN(walk[0].Reference) {
			scale, _ = atAnchors(bin, m.Ratio, []Anchor{{Position: light.Position{Bin: bin.Name}, Weight: 1}})
		}
	}
	for i := range m.Ratio {
		m.Ratio[i] /= scale
	}
	m.Plateau = light.PPFD(math.Exp(reference))
	if math.IsNaN(walk[0].Reference) {
		m.Plateau = light.PPFD(scale)
	}
	return m
}

// logRatio is the logarithm of the reading over the reference, or over 1.
func logRatio(r Reading) float64 {
	if math.IsNaN(r.Reference) {
		return math.Log(r.PPFD)
	}
	return math.Log(r.PPFD / r.Reference)
}

// noise is the pooled standard deviation of repeated log ratios about their
// position's mean.
func noise(bin light.Bin, walk []Reading, sum, n []float64) float64 {
	squares, df := 0.0, 0.0
	for _, r := range walk {
		i := bin.Index(r.Position)
		d := logRatio(r) - sum[i]/n[i]
		squares += d * d
	}
	for _, k := range n {
		df += math.Max(0, k-1)
	}
	if df < repeatsNeeded {
		return meterNoise
	}
	return math.Sqrt(squares / df)
}

// atAnchors is the mean ratio at the anchors' places, weighted by precision; ok
// is false if the ratio is known at none of them.
func atAnchors(bin light.Bin, ratio []float64, anchors []Anchor) (mean float64, ok bool) {
	sum, weights := 0.0, 0.0
	for _, a := range anchors {
		if x := At(bin, ratio, a.Position); !math.IsNaN(x) {
			sum += a.Weight * x
			weights += a.Weight
		}
	}
	return sum / weights, weights > 0
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
