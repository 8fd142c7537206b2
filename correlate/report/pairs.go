package report

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/plot/vg"

	"parstead/correlate"

	"parstead/correlate/phrase"
)

// pair is a comparison as it is drawn.
type pair struct {
	correlate.Comparison
	value *float64
}

// verdicts are the headings of pairs in their order.
var verdicts = []struct{ verdict, heading string }{
	{correlate.Larger, "larger"},
	{correlate.Smaller, "smaller"},
	{correlate.Equivalent, "equivalent: no difference that matters"},
	{correlate.CantTell, "can't tell"},
	{"", "not compared"},
}

// pairs draw every difference or ratio with its simultaneous interval.
func (r *Report) pairs(names fileNames, o *outcome) []picture {
	var list []pair
	ratio := false
	several := map[string]bool{}
	for _, c := range o.Comparisons {
		q := pair{c, c.Difference}
		if q.value == nil {
			q.value = c.Ratio
		}
		ratio = ratio || c.Ratio != nil
		several[c.Treatment] = true
		list = append(list, q)
	}
	if len(list) == 0 {
		return nil
	}
	none := 0.0
	if ratio || o.Kind != correlate.Measure || o.log() {
		ratio, none = true, 1
	}
	a := axisOver(ratio, worthShowing(list, none, ratio)...)
	var entries []entry
	for _, v := range verdicts {
		first := true
		for _, i := range bySize(list, v.verdict) {
			if first {
				entries = append(entries, entry{heading: true, label: v.heading})
				first = false
			}
			entries = append(entries, entry{label: list[i].shortLabel(len(several) > 1), words: list[i].words(o), of: i})
		}
	}
	pages := pagesOf(entries)
	var pictures []picture
	for i, page := range pages {
		d := pairPicture{o, list, layRows(page), a, ratio, none}
		pictures = append(pictures, picture{
			file:    o.file(names, "pairs"),
			title:   o.title() + ": pairs compared" + pageOf(i, len(pages)),
			of:      o.index,
			caption: d.caption(),
			alt:     d.alt(len(several) > 1),
			table:   d.table(),
			draw:    d.draw,
		})
	}
	return pictures
}

// widest is how many times the middle one of the intervals a drawn one may reach
// from no difference: a few that reach far would press all others together.
const widest = 4

// worthShowing are the values that the axis must hold.
func worthShowing(list []pair, none float64, ratio bool) []float64 {
	scale := axis{log: ratio}
	from := func(v float64) float64 { return math.Abs(scale.scaled(v) - scale.scaled(none)) }
	var halves []float64
	values := []float64{none}
	for _, q := range list {
		if q.value != nil {
			values = append(values, *q.value)
		}
		if q.CI95 != nil && (!ratio || q.CI95[0] > 0) {
			halves = append(halves, (scale.scaled(q.CI95[1])-scale.scaled(q.CI95[0]))/2)
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
		if q.CI95 == nil {
			continue
		}
		for _, end := range q.CI95 {
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

// bySize lists the pairs of a verdict from the largest value down.
func bySize(list []pair, verdict string) []int {
	var of []int
	for i, q := range list {
		if q.Verdict == verdict {
			of = append(of, i)
		}
	}
	size := func(i int) float64 {
		if list[i].value == nil {
			return math.Inf(-1)
		}
		return *list[i].value
	}
	slices.SortStableFunc(of, func(i, j int) int { return cmp.Compare(size(j), size(i)) })
	return of
}

func (q pair) label(named bool) string { return q.labelOf(named, q.A, q.B) }

func (q pair) labelOf(named bool, a, b string) string {
	if named {
		return q.Treatment + ": " + a + " against " + b
	}
	return a + " against " + b
}

// shortLabel is a label whose two levels are shortened where it is too long: words
// that both begin with are left out, then each is cut alike.
func (q pair) shortLabel(named bool) string {
	if textWidth(q.label(named), labelSize, false) <= mostLabel {
		return q.label(named)
	}
	a, b := apartFrom(q.A, q.B), apartFrom(q.B, q.A)
	room := (mostLabel - textWidth(q.labelOf(named, "", ""), labelSize, false)) / 2
	return q.labelOf(named, fitted(a, labelSize, false, room), fitted(b, labelSize, false, room))
}

// apartFrom is a name without the words that it and another begin with.
func apartFrom(name, other string) string {
	n := 0
	for i := range min(len(name), len(other)) {
		if name[i] != other[i] {
			break
		}
		if name[i] == ' ' {
			n = i
		}
	}
	if n == 0 {
		return name
	}
	return "…" + name[n:]
}

// words are the pair's value with its interval.
func (q pair) words(o *outcome) string {
	switch {
	case q.value == nil:
		return "no value"
	case q.CI95 == nil:
		return phrase.Unit(number(*q.value), o.differenceUnit()) + ", no interval"
	}
	return number(*q.value) + " (" + phrase.Between(q.CI95) + ")"
}

func (o *outcome) differenceUnit() string {
	if o.Kind == correlate.Measure && !o.log() {
		return o.Unit
	}
	return ""
}

type pairPicture struct {
	o     *outcome
	list  []pair
	rows  rows
	axis  axis
	ratio bool
	none  float64
}

// compared is the label of the axis.
func (d pairPicture) compared() string {
	switch {
	case d.o.Kind == correlate.YesNo:
		return "odds ratio of " + d.o.Name + ", first against second; 1 is no difference"
	case d.ratio:
		return "ratio of " + d.o.Name + ", first over second; 1 is no difference"
	}
	return unit("difference in "+d.o.Name+", first less second", d.o.Unit)
}

// indifferent is the range of differences that don't matter, where it is the
// same for all pairs.
func (d pairPicture) indifferent() (low, high float64, ok bool) {
	m := d.o.in.Matters
	switch {
	case m == nil || m.Share != d.ratio:
		return 0, 0, false
	case m.Share:
		return 1 / (1 + m.Value), 1 + m.Value, true
	}
	return -m.Value, m.Value, true
}

func (d pairPicture) draw(p pen) {
	sub := "with 95 % intervals that hold for all pairs of a treatment at once"
	if d.cut() {
		sub += "; arrows: the interval goes on"
	}
	p.heading(d.o.title()+": pairs compared", sub)
	a := d.axis.between(d.rows.left, d.rows.right)
	if low, high, ok := d.indifferent(); ok {
		p.fill(box(a.at(low), d.rows.top, a.at(high)-a.at(low), d.rows.bottom-d.rows.top), band)
	}
	a.below(p, d.rows.top, d.rows.bottom, smallSize)
	a.label(p, d.rows.bottom, d.compared())
	p.segment(a.at(d.none), d.rows.top, a.at(d.none), d.rows.bottom, line{ink, 2.5, []vg.Length{10, 6}})
	d.rows.each(p, func(of int, y float64) {
		q := d.list[of]
		if q.CI95 != nil {
			interval(p, a, q.CI95[0], q.CI95[1], y, 11, hue)
		}
		if q.value != nil {
			p.mark(0, a.at(*q.value), y, 11, hue)
		}
	})
}

// cut tells whether an interval reaches beyond the axis.
func (d pairPicture) cut() bool {
	return slices.ContainsFunc(d.rows.entries, func(e entry) bool {
		ci := d.list[e.of].CI95
		return !e.heading && ci != nil && (ci[0] < d.axis.low || ci[1] > d.axis.high)
	})
}

func (d pairPicture) caption() string {
	says := "A line a pair: how much the first differs from the second, with an interval that holds for all pairs of one treatment at once. The dashed line is no difference."
	if d.cut() {
		says += " Where an interval ends in an arrow, it goes on; its ends stand at the right."
	}
	if _, _, ok := d.indifferent(); ok {
		says += " The band is what was said not to matter."
	}
	if d.o.Kind == correlate.YesNo {
		says += " An odds ratio is absent where a level has no plant with, or none without, " + d.o.Name + "."
	}
	return says
}

func (d pairPicture) alt(named bool) string {
	var parts []string
	for _, v := range verdicts {
		var of []string
		for _, e := range d.rows.entries {
			if q := d.list[e.of]; !e.heading && q.Verdict == v.verdict {
				of = append(of, q.label(named)+" "+q.words(d.o))
			}
		}
		if len(of) > 0 {
			parts = append(parts, strings.ToUpper(v.heading[:1])+v.heading[1:]+": "+strings.Join(of, "; ")+".")
		}
	}
	return "Lines of pairs, " + d.compared() + ". " + strings.Join(parts, " ")
}

func (d pairPicture) table() [][]string {
	what := "difference"
	if d.ratio {
		what = "ratio"
	}
	rows := [][]string{{"treatment", "a", "b", what, "ci95_low", "ci95_high", "verdict", "replicate"}}
	for _, e := range d.rows.entries {
		if e.heading {
			continue
		}
		q := d.list[e.of]
		low, high := ends(q.CI95)
		rows = append(rows, []string{q.Treatment, q.A, q.B, exactOf(q.value), low, high, q.Verdict, q.Unit})
	}
	return rows
}
