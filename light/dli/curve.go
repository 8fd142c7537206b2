package dli

import (
	"sort"

	"parstead/light"
)

// Between integrates the curve over a window of its span (Unix ns).
func (c *Curve) Between(from, until int64) Light {
	var sum float64
	var covered int64
	c.covered(from, until, func(from, until int64) {
		covered += until - from
		// As lines gives them, but written out: what is filled adds up many.
		i := c.after(from)
		n := sort.Search(len(c.Times)-i, func(k int) bool { return c.Times[i+k] >= until })
		t0, left, area := from, c.line(i, from), 0.0
		values := c.Values[i : i+n]
		for k, t := range c.Times[i : i+n] {
			area += (left + values[k]) * float64(t-t0)
			t0, left = t, values[k]
		}
		if t0 < until {
			area += (left + c.line(i+n, until)) * float64(until-t0)
		}
		sum += area
	})
	return Light{light.DLI(sum * molPerPair), covered}
}

// Mean is the mean value over the part of a window of the curve's span that
// readings bridge, and the ns of that part; NaN if there is none.
func (c *Curve) Mean(from, until int64) (mean float64, covered int64) {
	l := c.Between(from, until)
	return float64(l.Mol) / molPerPair / 2 / float64(l.Covered), l.Covered
}

// Above adds to each element of ns for how long, in a window of the curve's span,
// the curve lies above the level of the same index, in µmol m⁻² s⁻¹. Levels must
// ascend. Gaps do not count.
func (c *Curve) Above(levels []float64, from, until int64, ns []float64) {
	if len(levels) == 0 {
		return
	}
	least, most := levels[0], levels[len(levels)-1]
	all := 0.0
	c.covered(from, until, func(from, until int64) {
		c.lines(from, until, func(t0, t1 int64, left, right float64) {
			length := float64(t1 - t0)
			low, high := min(left, right), max(left, right)
			if low > most {
				all += length
				return
			}
			if high <= least {
				return
			}
			for i, level := range levels {
				if high <= level {
					break
				}
				if low > level {
					ns[i] += length
				} else {
					ns[i] += length * (high - level) / (high - low)
				}
			}
		})
	})
	for i := range levels {
		ns[i] += all
	}
}

// At is the value at an instant of the span; ok is false in a gap.
func (c *Curve) At(t int64) (value float64, ok bool) {
	i := sort.Search(len(c.Times), func(i int) bool { return c.Times[i] >= t })
	if i < len(c.Times) && c.Times[i] == t {
		return c.Values[i], true
	}
	if i == 0 || i == len(c.Times) {
		return 0, false
	}
	g := sort.Search(len(c.Gaps), func(g int) bool { return c.Gaps[g].Until > t })
	if g < len(c.Gaps) && c.Gaps[g].From <= t {
		return 0, false
	}
	return c.line(i, t), true
}

// covered gives the parts of a window that lie in no gap.
func (c *Curve) covered(from, until int64, part func(from, until int64)) {
	g := sort.Search(len(c.Gaps), func(g int) bool { return c.Gaps[g].Until > from })
	for ; g < len(c.Gaps) && c.Gaps[g].From < until; g++ {
		if from < c.Gaps[g].From {
			part(from, c.Gaps[g].From)
		}
		from = c.Gaps[g].Until
	}
	if from < until {
		part(from, until)
	}
}

// lines gives the straight lines that make up a stretch without gaps.
func (c *Curve) lines(from, until int64, line func(t0, t1 int64, left, right float64)) {
	i := c.after(from)
	t0, left := from, c.line(i, from)
	for ; i < len(c.Times) && c.Times[i] < until; i++ {
		line(t0, c.Times[i], left, c.Values[i])
		t0, left = c.Times[i], c.Values[i]
	}
	if t0 < until {
		line(t0, until, left, c.line(i, until))
	}
}

// after is the first reading later than t.
func (c *Curve) after(t int64) int {
	return sort.Search(len(c.Times), func(i int) bool { return c.Times[i] > t })
}

// line is the value at t on the line that ends at reading i.
func (c *Curve) line(i int, t int64) float64 {
	if i == len(c.Times) || c.Times[i-1] == t {
		return c.Values[i-1]
	}
	t0, t1 := c.Times[i-1], c.Times[i]
	return c.Values[i-1] + (c.Values[i]-c.Values[i-1])*float64(t-t0)/float64(t1-t0)
}
