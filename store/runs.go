package store

import (
	"slices"
	"sort"

	"parstead/light"
)

// runs gathers one sensor's readings out of several blocks and groups, each a
// run ordered by time, and makes one ordered series of them. Runs that simply
// follow one another, the common case, are never moved.
type runs struct {
	dst   *light.Series
	first int   // where the gathered readings begin in dst
	ends  []int // where each run ends
	span  nanos
}

// end closes the run that was just appended to dst, without what lies outside
// the span. A run that is rebased may be out of order.
func (r *runs) end(rebased bool) {
	start := r.first
	if n := len(r.ends); n > 0 {
		start = r.ends[n-1]
	}
	if rebased {
		tailOf(r.dst, start).Sort()
	}
	from, until := within(r.dst.Times[start:], r.span)
	cut(r.dst, start, start+from, start+until)
	if n := r.dst.Len(); n > start {
		r.ends = append(r.ends, n)
	}
}

// add appends the part of an ordered series that lies in the span, as a run.
func (r *runs) add(s *light.Series) {
	from, until := within(s.Times, r.span)
	if from == until {
		return
	}
	if s.Marks != nil {
		padMarks(r.dst)
	}
	if r.dst.Marks != nil {
		if s.Marks != nil {
			r.dst.Marks = append(r.dst.Marks, s.Marks[from:until]...)
		} else {
			r.dst.Marks = append(r.dst.Marks, make([]light.Mark, until-from)...)
		}
	}
	r.dst.Times = append(r.dst.Times, s.Times[from:until]...)
	r.dst.Values = append(r.dst.Values, s.Values[from:until]...)
	r.ends = append(r.ends, r.dst.Len())
}

// merge orders the gathered runs. Readings of one time keep the order in which
// they were gathered.
func (r *runs) merge() {
	for len(r.ends) > 1 {
		start, joined := r.first, r.ends[:0]
		for i := 0; i < len(r.ends); i += 2 {
			if i+1 == len(r.ends) {
				joined = append(joined, r.ends[i])
				break
			}
			middle, end := r.ends[i], r.ends[i+1]
			mergeRuns(r.dst, start, middle, end)
			joined = append(joined, end)
			start = end
		}
		r.ends = joined
	}
}

// mergeRuns merges the neighbouring runs [start,middle) and [middle,end).
func mergeRuns(s *light.Series, start, middle, end int) {
	t := s.Times
	if t[middle-1] <= t[middle] {
		return
	}
	// What is in place already stays.
	start += sort.Search(middle-start, func(i int) bool { return t[start+i] > t[middle] })
	left := light.Series{
		Times:  slices.Clone(t[start:middle]),
		Values: slices.Clone(s.Values[start:middle]),
	}
	if s.Marks != nil {
		left.Marks = slices.Clone(s.Marks[start:middle])
	}
	i, j := 0, middle
	for k := start; i < len(left.Times); k++ {
		if j < end && t[j] < left.Times[i] {
			t[k], s.Values[k] = t[j], s.Values[j]
			if s.Marks != nil {
				s.Marks[k] = s.Marks[j]
			}
			j++
			continue
		}
		t[k], s.Values[k] = left.Times[i], left.Values[i]
		if s.Marks != nil {
			s.Marks[k] = left.Marks[i]
		}
		i++
	}
}

// within is the part of ordered times that lies in the span.
func within(times []int64, span nanos) (from, until int) {
	if len(times) == 0 || (times[0] >= span.from && times[len(times)-1] < span.until) {
		return 0, len(times)
	}
	from, _ = slices.BinarySearch(times, span.from)
	until, _ = slices.BinarySearch(times, span.until)
	return from, max(from, until)
}

// cut keeps of the readings from start on only those of [from,until).
func cut(s *light.Series, start, from, until int) {
	n := start + until - from
	if from > start {
		copy(s.Times[start:], s.Times[from:until])
		copy(s.Values[start:], s.Values[from:until])
		if s.Marks != nil {
			copy(s.Marks[start:], s.Marks[from:until])
		}
	}
	s.Times, s.Values = s.Times[:n], s.Values[:n]
	if s.Marks != nil {
		s.Marks = s.Marks[:n]
	}
}

// tailOf is the part of s from start on, sharing its memory.
func tailOf(s *light.Series, start int) *light.Series {
	part := &light.Series{Times: s.Times[start:], Values: s.Values[start:]}
	if s.Marks != nil {
		part.Marks = s.Marks[start:]
	}
	return part
}

// padMarks gives s marks, none for what it holds already.
func padMarks(s *light.Series) {
	if s.Marks == nil {
		s.Marks = make([]light.Mark, len(s.Times), cap(s.Times))
	}
}
