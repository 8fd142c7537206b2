package report

import (
	"math"
	"slices"

	"gonum.org/v1/plot/vg"

	"parstead/correlate"
)

// estimate is an effect as it is drawn: a pair of levels, or what one trial or the
// mean over several has of one.
type estimate struct {
	correlate.Comparison
	value *float64
	of    string // the trial, or which mean
	mean  bool
	other *float64 // the value without a plant that lies far off; nil for none
}

// closed is the interval to draw; nil where there is none, or where one end is open.
func (q estimate) closed() *[2]float64 { return q.CI95.Closed() }

// slope tells that it is no comparison but a slope on light.
func (q estimate) slope() bool { return q.Treatment == "" }

// estimates is a picture of a line an estimate, with its interval, about no effect.
type estimates struct {
	title, sub, words string // of the picture, of its axis
	list              []estimate
	rows              rows
	axis              axis
	ratio             bool        // estimates are ratios
	band              *[2]float64 // that doesn't matter; nil where not said
}

// none is the value of no effect.
func (d *estimates) none() float64 {
	if d.ratio {
		return 1
	}
	return 0
}

func (d *estimates) draw(p pen) {
	p.heading(d.title, d.sub)
	a := d.axis.between(d.rows.left, d.rows.right)
	if b := d.band; b != nil {
		p.fill(box(a.at(b[0]), d.rows.top, a.at(b[1])-a.at(b[0]), d.rows.bottom-d.rows.top), band)
	}
	a.below(p, d.rows.top, d.rows.bottom, d.rows.size*smallSize)
	a.labelled(p, d.rows.bottom, d.words, d.rows.size*labelSize)
	p.segment(a.at(d.none()), d.rows.top, a.at(d.none()), d.rows.bottom, line{ink, 2.5, []vg.Length{10, 6}})
	d.rows.each(p, func(of int, y float64) {
		q := d.list[of]
		switch {
		case q.closed() == nil:
		case q.mean:
			low, high := max(q.closed()[0], d.axis.low), min(q.closed()[1], d.axis.high)
			p.segment(a.at(low), y, a.at(high), y, line{grey, 4, []vg.Length{8, 6}})
			if low > q.closed()[0] {
				p.arrow(a.at(low), y, -1)
			}
			if high < q.closed()[1] {
				p.arrow(a.at(high), y, 1)
			}
		default:
			interval(p, a, q.closed()[0], q.closed()[1], y, 11, hue)
		}
		if q.other != nil {
			p.mark(shapes, a.at(*q.other), y, 11, hue)
		}
		switch {
		case q.value == nil:
		case q.mean:
			p.mark(1, a.at(*q.value), y, 10, grey)
		default:
			p.mark(0, a.at(*q.value), y, 11, hue)
		}
	})
}

// arrow tells that a line goes on, to the left (−1) or the right (1).
func (p pen) arrow(x, y, way float64) {
	p.fill(through(true, [2]float64{x + way*14, y}, [2]float64{x - way*6, y - 10}, [2]float64{x - way*6, y + 10}), grey)
}

// table is what the picture shows, of one trial or of several.
func (d *estimates) table(trials bool) [][]string {
	what := "difference"
	switch {
	case d.ratio:
		what = "ratio"
	case d.list[0].slope():
		what = "slope"
	}
	rows := [][]string{{"treatment", "a", "b", what, "ci95_low", "ci95_high", "verdict"}}
	beside := func(row []string, trial, replicate string) []string {
		if trials {
			return slices.Insert(row, 3, trial)
		}
		return append(row, replicate)
	}
	rows[0] = beside(rows[0], "trial", "replicate")
	for _, e := range d.rows.entries {
		if e.heading {
			continue
		}
		q := d.list[e.of]
		low, high := ends(q.closed())
		rows = append(rows, beside([]string{q.Treatment, q.A, q.B, exactOf(q.value), low, high, q.Verdict}, q.of, q.Unit))
	}
	return rows
}

// widest is how many times the middle one of the intervals a drawn one may reach
// from no difference: a few that reach far would press all others together.
const widest = 4

// worthShowing are the values that the axis must hold.
func worthShowing(list []estimate, none float64, ratio bool) []float64 {
	scale := axis{log: ratio}
	from := func(v float64) float64 { return math.Abs(scale.scaled(v) - scale.scaled(none)) }
	var halves []float64
	values := []float64{none}
	for _, q := range list {
		for _, v := range []*float64{q.value, q.other} {
			if v != nil {
				values = append(values, *v)
			}
		}
		if q.closed() != nil && (!ratio || q.closed()[0] > 0) {
			halves = append(halves, (scale.scaled(q.closed()[1])-scale.scaled(q.closed()[0]))/2)
		}
	}
	if len(halves) == 0 {
		return values
	}
	slices.Sort(halves)
	reach := widest * halves[(len(halves)-1)/2]
	for _, v := range values {
		reach = max(reach, 1.2*from(v))
	}
	for _, q := range list {
		if q.closed() == nil {
			continue
		}
		for _, end := range q.closed() {
			switch {
			case ratio && !(end > 0):
			case from(end) <= reach:
				values = append(values, end)
			case end < none:
				values = append(values, scale.unscaled(scale.scaled(none)-reach))
			default:
				values = append(values, scale.unscaled(scale.scaled(none)+reach))
			}
		}
	}
	return values
}
