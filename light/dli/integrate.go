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

	Saturated Refused // readings that are marks of saturation (light.Saturated)
	Outside   Refused // readings outside what is valid
}

// Refused counts readings of a curve's span that are not used for their value.
type Refused struct {
	N           int
	First, Last int64 // Unix ns
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
	for k := range stretches {
		st := &stretches[k]
		i += sort.Search(len(times)-i, func(k int) bool { return times[i+k] >= st.From })
		until := i + sort.Search(len(times)-i, func(k int) bool { return times[i+k] >= st.Until })
		w.maxGap = st.MaxGap // a line ends in the stretch of its later reading
		// Marks of saturation are mostly out of range anyway.
		plain := marks == nil && !(st.Saturates && (st.valid(st.scaled(-1)) || st.valid(st.scaled(65535))))
		for i < until {
			if plain {
				n := w.straight(times[i:until], values[i:until], st)
				if used < i {
					copy(times[used:], times[i:i+n])
					copy(values[used:], values[i:i+n])
				}
				st.scale(values[used : used+n])
				used, i = used+n, i+n
				if i == until {
					break
				}
			}
			saturated := st.Saturates && light.Saturated(values[i])
			value := st.value(values[i])
			switch {
			case marks != nil && !marks[i].Usable():
			case saturated || !st.valid(value):
				w.refuse(times[i], saturated)
			default:
				w.step(times[i], value*st.PerUnit)
				times[used], values[used] = w.time, w.ppfd
				used++
			}
			i++
		}
	}
	w.finish()
	return Curve{times[:used], values[:used], w.gaps, w.saturated, w.outside}, dst
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

	saturated, outside Refused
}

// refuse counts a reading within the bounds that is not used for its value.
func (w *walker) refuse(t int64, saturated bool) {
	if t < w.bounds[0] || t >= w.bounds[len(w.bounds)-1] {
		return
	}
	if saturated {
		w.saturated.Add(t)
	} else {
		w.outside.Add(t)
	}
}

// Add counts one at a time after all others.
func (r *Refused) Add(t int64) {
	if r.N++; r.N == 1 {
		r.First = t
	}
	r.Last = t
}

// Join counts others too.
func (r *Refused) Join(o Refused) {
	switch {
	case o.N == 0:
	case r.N == 0:
		*r = o
	default:
		r.N, r.First, r.Last = r.N+o.N, min(r.First, o.First), max(r.Last, o.Last)
	}
}

// straight goes on over readings as long as each is valid, lies in the cell that
// is being filled and within maxGap of the one before, and tells how many do.
// Most do, all day long: apart from the rest it is hardly slower than the bare sum.
func (w *walker) straight(times []int64, values []float64, st *Stretch) (n int) {
	scale, offset, low, high, perUnit := st.Scale, st.Offset, st.Low, st.High, st.PerUnit
	last, ppfd, sum, end, maxGap := w.time, w.ppfd, w.sum, w.end, uint64(w.maxGap)
	values = values[:len(times)]
	for n < len(times) {
		t, value := times[n], values[n]*scale+offset
		// last is far in the past before the first reading, so that the
		// difference can overflow: unsigned, it is then too long as well.
		step := uint64(t - last)
		if !(value >= low && value <= high) || t > end || step > maxGap {
			break
		}
		next := value * perUnit
		sum += (ppfd + next) * float64(int64(step))
		last, ppfd = t, next
		n++
	}
	w.covered += last - w.time
	w.time, w.ppfd, w.sum = last, ppfd, sum
	return n
}

// step goes to the next usable reading, over a cell's end, a gap, or both.
func (w *walker) step(t int64, ppfd float64) {
	switch {
	case w.time == math.MinInt64: // the first one
		w.gap(w.bounds[0], t)
		w.seek(t)
	case uint64(t-w.time) > uint64(w.maxGap):
		w.gap(w.time, t)
		w.seek(t)
	default:
		from, left := w.time, w.ppfd
		for w.end < t {
			cut := w.ppfd + (ppfd-w.ppfd)/float64(t-w.time)*float64(w.end-w.time)
			w.sum += (left + cut) * float64(w.end-from)
			w.covered += w.end - from
			from, left = w.end, cut
			w.next()
		}
		w.sum += (left + ppfd) * float64(t-from)
		w.covered += t - from
	}
	w.time, w.ppfd = t, ppfd
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
