package report

import (
	"math"
	"strconv"

	"parstead/correlate/phrase"
)

// axis maps values to a stretch of a picture.
type axis struct {
	low, high float64
	log       bool
	share     bool // values are shares, written in per cent
	yesNo     bool // values are 0 for no and 1 for yes
	from, to  float64
}

// axisOver holds all the values with a little room at both ends. A scale that
// must be logarithmic and meets a value that has no logarithm is not.
func axisOver(log bool, values ...float64) axis {
	a := axis{low: math.Inf(1), high: math.Inf(-1), log: log}
	for _, v := range values {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			continue
		}
		if v <= 0 {
			a.log = false
		}
		a.low, a.high = min(a.low, v), max(a.high, v)
	}
	if a.low > a.high {
		a.low, a.high = 0, 1
		a.log = false
	}
	low, high := a.scaled(a.low), a.scaled(a.high)
	room := 0.04 * (high - low)
	if !(room > 0) {
		room = max(0.05*math.Abs(low), 0.05)
	}
	a.low, a.high = a.unscaled(low-room), a.unscaled(high+room)
	return a
}

func (a axis) between(from, to float64) axis {
	a.from, a.to = from, to
	return a
}

func (a axis) scaled(v float64) float64 {
	if a.log {
		return math.Log(v)
	}
	return v
}

func (a axis) unscaled(v float64) float64 {
	if a.log {
		return math.Exp(v)
	}
	return v
}

// at is where a value stands; one beyond the axis stands at its end.
func (a axis) at(v float64) float64 {
	v = max(a.low, min(a.high, v))
	return a.from + (a.to-a.from)*(a.scaled(v)-a.scaled(a.low))/(a.scaled(a.high)-a.scaled(a.low))
}

// ticks are round values along the axis, at most so many.
func (a axis) ticks(most int) []float64 {
	if a.yesNo {
		return []float64{0, 1}
	}
	if a.log && a.high/a.low >= 8 {
		for _, digits := range [][]float64{{1, 2, 3, 5, 7}, {1, 2, 5}, {1, 3}, {1}} {
			var list []float64
			for e := math.Floor(math.Log10(a.low)); e <= math.Log10(a.high); e++ {
				for _, d := range digits {
					if v := d * math.Pow(10, e); v >= a.low && v <= a.high {
						list = append(list, round(v))
					}
				}
			}
			if len(list) <= most && len(list) >= 2 {
				return list
			}
		}
	}
	return a.even(most)
}

// even are ticks at even steps of 1, 2 or 5.
func (a axis) even(most int) []float64 {
	raw := (a.high - a.low) / float64(max(1, most))
	power := math.Pow(10, math.Floor(math.Log10(raw)))
	step := power
	for _, m := range []float64{1, 2, 5, 10} {
		if step = m * power; step >= raw {
			break
		}
	}
	var list []float64
	low, high := a.low, a.high
	if a.share {
		low, high = max(0, low), min(1, high)
	}
	for k := math.Ceil(low / step); k*step <= high; k++ {
		list = append(list, round(k*step)+0) // no negative zero
	}
	return list
}

// round takes the dust of binary fractions off a tick.
func round(v float64) float64 {
	r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'g', 12, 64), 64)
	if err != nil {
		return v
	}
	return r
}

// word writes a tick.
func (a axis) word(v float64) string {
	switch {
	case a.yesNo && v == 1:
		return "yes"
	case a.yesNo:
		return "no"
	case a.share:
		return phrase.Minus(strconv.FormatFloat(100*v, 'g', 6, 64)) + " %"
	}
	return phrase.Minus(strconv.FormatFloat(v, 'g', 6, 64))
}

// below draws the axis under a plot that reaches from top to bottom, with ticks
// of a size of text.
func (a axis) below(p pen, top, bottom, size float64) {
	last := math.Inf(-1)
	for _, v := range a.ticks(int((a.to - a.from) / (4.5 * size))) {
		x := a.at(v)
		p.segment(x, top, x, bottom, rule)
		word := a.word(v)
		if half := textWidth(word, size, false) / 2; x-half > last {
			p.text(x, bottom+1.35*size, size, middle, false, grey, word)
			last = x + half + 16
		}
	}
	p.segment(a.from, bottom, a.to, bottom, line{grey, 2, nil})
}

// label names a lower axis.
func (a axis) label(p pen, bottom float64, words string) { a.labelled(p, bottom, words, labelSize) }

// labelled does so with texts of a size.
func (a axis) labelled(p pen, bottom float64, words string, size float64) {
	p.text((a.from+a.to)/2, bottom+2.8*size, size, middle, false, ink, fitted(words, size, false, width-2*margin))
}

// beside draws the axis left of a plot that reaches from one x to another.
func (a axis) beside(p pen, from, to, size float64) {
	last := math.Inf(1)
	for _, v := range a.ticks(max(2, int((a.from-a.to)/(2.2*size)))) {
		y := a.at(v)
		p.segment(from, y, to, y, rule)
		if y < last-1.1*size {
			p.text(from-12, y+0.35*size, size, right, false, grey, a.word(v))
			last = y
		}
	}
	p.segment(from, a.from, from, a.to, line{grey, 2, nil})
}
