// Package dli integrates the readings of a light sensor over light days.
//
// Between two usable readings no further apart than the sensor's longest
// bridged silence, PPFD is taken to run straight (trapezoid rule); a day's
// boundary cuts that line. Longer silences are gaps: nothing is assumed there.
package dli

import (
	"math"
	"sort"

	"parstead/light"
)

// Light is an integral of PPFD over the part of a span that readings bridge.
type Light struct {
	Mol     light.DLI // mol m⁻²
	Covered int64     // ns that readings bridge
}

// Gap is a stretch, in Unix ns, that no readings bridge.
type Gap struct{ From, Until int64 }

// Curve is PPFD over a span as a sensor's usable readings draw it. Stretches that
// say so make it a curve of another quantity; its integrals then mean nothing.
type Curve struct {
	Times  []int64   // of usable readings, Unix ns, ascending
	Values []float64 // µmol m⁻² s⁻¹
	Gaps   []Gap     // within the span, in order
}

// molPerPair turns a sum of (PPFD + PPFD) × ns into mol m⁻².
const molPerPair = 0.5e-9 / light.MicromolesPerMole

// Integrate integrates a sensor's readings between successive bounds (Unix ns,
// ascending, at least two): cell i lies from bounds[i] to bounds[i+1]. Readings
// must be in order of time; a few before the first bound and after the last let
// the line be cut there instead of breaking off. Not used are readings outside
// the stretches, outside a stretch's valid range, with a mark that forbids it
// (light.Mark.Usable), and marks of saturation (light.Saturated) where a stretch
// has them. Of readings of one time the first ends the line before and the last begins the line after.
// Two stretches that touch or are parted by less than MaxGap are bridged.
//
// The cells are appended to dst. The curve takes over the memory of the series,
// whose values are overwritten.
func Integrate(s *light.Series, stretches []Stretch, bounds []int64, dst []Light) (Curve, []Light) {
	if len(bounds) < 2 {
		panic("dli: fewer than two bounds")
	}
	cells := len(dst)
	dst = append(dst, make([]Light, len(bounds)-1)...)
	w := walker{bounds: bounds, cells: dst[cells:], at: -1, end: bounds[0], time: math.MinInt64}
	times, values, marks := s.Times, s.Values, s.Marks
	used, i := 0, 0
	for _, st := range stretches {
		i += sort.Search(len(times)-i, func(k int) bool { return times[i+k] >= st.From })
		until := i + sort.Search(len(times)-i, func(k int) bool { return times[i+k] >= st.Until })
		// A line ends in the stretch of its later reading.
		w.maxGap = st.MaxGap
		saturates := st.Saturates
		scale, offset, low, high, perUnit, maxGap := st.Scale, st.Offset, st.Low, st.High, st.PerUnit, uint64(st.MaxGap)
		last, lastPPFD, end, sum, covered := w.time, w.ppfd, w.end, w.sum, w.covered
		for ; i < until; i++ {
			raw := values[i]
			value := raw*scale + offset
			if !(value >= low && value <= high) || saturates && light.Saturated(raw) || marks != nil && !marks[i].Usable() {
				continue
			}
			t, ppfd := times[i], value*perUnit
			// last is far in the past before the first reading, so that the
			// difference can overflow: unsigned, it is then too long as well.
			if step := uint64(t - last); t <= end && step <= maxGap {
				sum += (lastPPFD + ppfd) * float64(int64(step))
				covered += int64(step)
			} else {
				w.sum, w.covered = sum, covered
				w.time, w.ppfd = last, lastPPFD
				w.step(t, ppfd)
				end, sum, covered = w.end, w.sum, w.covered
			}
			times[used], values[used] = t, ppfd
			used++
			last, lastPPFD = t, ppfd
		}
		w.time, w.ppfd, w.sum, w.covered = last, lastPPFD, sum, covered
	}
	w.finish()
	return Curve{times[:used], values[:used], w.gaps}, dst
}

// walker carries the integration over cells, where it is not a plain sum.
type walker struct {
	bounds []int64
	cells  []Light
	maxGap int64

	at      int     // cell that is being filled: −1 before the first, len(cells) after the last
	end     int64   // where that cell ends
	sum     float64 // of it so far, (PPFD + PPFD) × ns
	covered int64   // of it so far, ns
	time    int64   // of the last usable reading
	ppfd    float64
	gaps    []Gap
}

// step goes to the next usable reading over a cell's end, a gap, or both.
func (w *walker) step(t int64, ppfd float64) {
	switch {
	case w.time == math.MinInt64: // the first one
		w.gap(w.bounds[0], t)
		w.seek(t)
	case uint64(t-w.time) > uint64(w.maxGap):
		w.gap(w.time, t)
		w.seek(t)
	default:
		slope := (ppfd - w.ppfd) / float64(t-w.time)
		from, left := w.time, w.ppfd
		for w.end < t {
			cut := w.ppfd + slope*float64(w.end-w.time)
			w.sum += (left + cut) * float64(w.end-from)
			w.covered += w.end - from
			from, left = w.end, cut
			w.next()
		}
		w.sum += (left + ppfd) * float64(t-from)
		w.covered += t - from
	}
}

// seek goes to the cell in which t lies or at whose end it is.
func (w *walker) seek(t int64) {
	for w.end < t {
		w.next()
	}
}

// next closes a cell and opens the one after it.
func (w *walker) next() {
	w.close()
	w.at++
	w.end = math.MaxInt64
	if w.at < len(w.cells) {
		w.end = w.bounds[w.at+1]
	}
	w.sum, w.covered = 0, 0
}

func (w *walker) close() {
	if w.at >= 0 && w.at < len(w.cells) {
		w.cells[w.at] = Light{light.DLI(w.sum * molPerPair), w.covered}
	}
}

// gap notes the part of a silence that lies within the bounds.
func (w *walker) gap(from, until int64) {
	from, until = max(from, w.bounds[0]), min(until, w.bounds[len(w.bounds)-1])
	if from < until {
		w.gaps = append(w.gaps, Gap{from, until})
	}
}

func (w *walker) finish() {
	w.close()
	w.gap(w.time, w.bounds[len(w.bounds)-1])
}
