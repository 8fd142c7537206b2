package field

import (
	"fmt"
	"math"
	"slices"

	"parstead/light"
)

// What is told of a walk as a whole.
const (
	swapGain    = 5.0  // of log evidence, from which two rows may be swapped
	swapRows    = 4    // rows that a bin has at least, for that to show
	lampStep    = 0.05 // of the sensors' own light within a walk, natural log
	lampStepSDs = 5.0  // and beyond their own scatter
	stepLongest = 30   // minutes between two readings that a step lies between
)

// wholeWalk tells what is amiss with the walk as a whole. Under the sun light steps
// and spreads otherwise from minute to minute.
func (s *screened) wholeWalk(bin light.Bin, anchors int) {
	if anchors > 0 {
		s.unit()
	}
	if bin.Daylight == light.Sunlit {
		return
	}
	s.step()
	s.swapped(bin)
}

// unit tells of a walk that reads so many times what the bin's sensors show that
// it is likely in lux.
func (s *screened) unit() {
	var ratios []float64
	for _, r := range s.used {
		if !math.IsNaN(r.Reference) {
			ratios = append(ratios, logRatio(r))
		}
	}
	if len(ratios) == 0 {
		return
	}
	slices.Sort(ratios)
	if x := math.Exp(ratios[len(ratios)/2]); x > luxLeast && x < luxMost {
		s.doubts = append(s.doubts, Doubt{
			Line: s.used[0].Row,
			Says: fmt.Sprintf("the walk reads %.0f times what the bin's sensors show, as if lux were written under ppfd", x),
			Mend: "write such values into a column lux, or look at the sensor's scale",
		})
	}
}

// step tells where the sensors' own light steps within the walk, beyond their
// scatter: with part of the lamps off, light is spread otherwise.
func (s *screened) step() {
	var steps []float64
	largest, at := 0.0, 0
	for k := 1; k < len(s.used); k++ {
		a, b := s.used[k-1], s.used[k]
		if math.IsNaN(a.Reference) || math.IsNaN(b.Reference) || b.At.Sub(a.At).Minutes() > stepLongest {
			continue
		}
		d := math.Log(b.Reference / a.Reference)
		steps = append(steps, math.Abs(d))
		if math.Abs(d) > math.Abs(largest) {
			largest, at = d, k
		}
	}
	if len(steps) == 0 {
		return
	}
	slices.Sort(steps)
	scatter := steps[len(steps)/2] / 0.6745 // of a normal distribution
	if math.Abs(largest) > max(lampStep, lampStepSDs*scatter) {
		s.doubts = append(s.doubts, Doubt{
			Line: s.used[at].Row,
			Says: fmt.Sprintf("the bin's own sensors read %+.0f %% from one row of the walk to this one: a lamp was switched, or something stood over a sensor", 100*math.Expm1(largest)),
			Mend: "walk again with all lamps on, and mark the old rows by clearing their values",
		})
	}
}

// swapped warns of two neighbouring rows whose values fit much better the other
// way about.
func (s *screened) swapped(bin light.Bin) {
	if bin.Rows < swapRows || s.w.places != len(s.w.cell) {
		return
	}
	best, row := swapGain, 0
	for r := range bin.Rows - 1 {
		means, ok := s.w.exchanged(r, bin.Columns)
		if !ok {
			continue
		}
		if gain := s.w.evidence(means) - s.p.evidence; gain > best {
			best, row = gain, r+1
		}
	}
	if row > 0 {
		s.doubts = append(s.doubts, Doubt{
			Line: s.firstLine(row),
			Says: fmt.Sprintf("rows %d and %d of bin %s would fit the other rows much better the other way about", row, row+1, bin.Name),
			Mend: "look whether they were swapped; read one of their positions again",
		})
	}
}

func (s *screened) firstLine(row int) light.Line {
	i := slices.IndexFunc(s.used, func(r Reading) bool { return r.Position.Row == row })
	return s.used[i].Row
}

// exchanged gives the means with those of a row and the next exchanged; ok is false
// where not the same columns of both were walked, as often.
func (w *walked) exchanged(row, columns int) (means []float64, ok bool) {
	means = slices.Clone(w.mean)
	for i, c := range w.cell {
		other := c + columns
		if c/columns == row+1 {
			other = c - columns
		} else if c/columns != row {
			continue
		}
		j := slices.Index(w.cell, other)
		if j < 0 || w.n[i] != w.n[j] || w.meter[i] != w.meter[j] {
			return nil, false
		}
		means[i] = w.mean[j]
		ok = true
	}
	return means, ok
}

// evidence is that of other means at the same places, of as many readings: by the
// factors of the walk as it stands.
func (w *walked) evidence(means []float64) float64 {
	top, sum := math.Inf(-1), 0.0
	var kernel *rotated
	var y []float64
	for _, b := range w.blocks {
		if b.rotated != kernel {
			kernel = b.rotated
			y = kernel.along(func(i int) float64 { return means[i] })
		}
		_, rest := b.less(y)
		for _, nd := range w.nodes(b.ratio, b.log, dot3(b.scale, rest, y), dot3(b.scale, rest, b.rotated.b), b.bb) {
			if nd.log > top {
				sum, top = sum*math.Exp(top-nd.log), nd.log
			}
			sum += math.Exp(nd.log - top)
		}
	}
	return top + math.Log(sum) + w.rootsOfRepeats()
}
