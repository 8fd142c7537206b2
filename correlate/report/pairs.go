package report

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"parstead/correlate"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
)

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
	var list []estimate
	several := map[string]bool{}
	for _, c := range o.Comparisons {
		several[c.Treatment] = true
		list = append(list, estimate{Comparison: c, value: c.Value()})
	}
	if len(list) == 0 {
		return nil
	}
	ratio := o.contrast() != kind.Difference
	d := pairPicture{estimates{title: o.title() + ": pairs compared", words: o.contrast().Axis(o.Name, o.Unit), list: list, ratio: ratio}, o}
	d.band = d.indifferent()
	d.axis = axisOver(ratio, worthShowing(list, d.none(), ratio)...)
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
		d.rows, d.sub = layRows(page), "with 95 % intervals that hold for all pairs of a treatment at once"
		if d.cut() {
			d.sub += "; arrows: the interval goes on"
		}
		pictures = append(pictures, picture{
			file:    o.file(names, "pairs"),
			title:   d.title + pageOf(i, len(pages)),
			of:      o.index,
			caption: d.caption(),
			alt:     d.alt(len(several) > 1),
			table:   d.table(false),
			draw:    d.draw,
		})
	}
	return pictures
}

// bySize lists the pairs of a verdict from the largest value down.
func bySize(list []estimate, verdict string) []int {
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

func (q estimate) label(named bool) string { return q.labelOf(named, q.A, q.B) }

func (q estimate) labelOf(named bool, a, b string) string {
	if named {
		return q.Treatment + ": " + a + " against " + b
	}
	return a + " against " + b
}

// shortLabel is a label whose two levels are shortened where it is too long: words
// that both begin with are left out, then each is cut alike.
func (q estimate) shortLabel(named bool) string {
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
func (q estimate) words(o *outcome) string {
	switch {
	case q.value == nil && q.CI95 != nil:
		return phrase.Ends(q.CI95)
	case q.value == nil:
		return "no value"
	case q.closed() == nil:
		return phrase.Unit(number(*q.value), o.differenceUnit()) + ", no interval"
	}
	return number(*q.value) + " (" + phrase.Between(q.closed()) + ")"
}

func (o *outcome) differenceUnit() string {
	if o.contrast() == kind.Difference {
		return o.Unit
	}
	return ""
}

type pairPicture struct {
	estimates
	o *outcome
}

// indifferent is the range of differences that don't matter, where it is the
// same for all pairs; nil where it is not.
func (d pairPicture) indifferent() *[2]float64 {
	m := d.o.in.Matters
	switch {
	case m == nil || m.Share != d.ratio:
		return nil
	case m.Share:
		return &[2]float64{1 / (1 + m.Value), 1 + m.Value}
	}
	return &[2]float64{-m.Value, m.Value}
}

// cut tells whether an interval reaches beyond the axis.
func (d pairPicture) cut() bool {
	return slices.ContainsFunc(d.rows.entries, func(e entry) bool {
		ci := d.list[e.of].closed()
		return !e.heading && ci != nil && (ci[0] < d.axis.low || ci[1] > d.axis.high)
	})
}

func (d pairPicture) caption() string {
	says := "A line a pair: how much the first differs from the second, with an interval that holds for all pairs of one treatment at once. The dashed line is no difference."
	if d.cut() {
		says += " Where an interval ends in an arrow, it goes on; its ends stand at the right."
	}
	if d.band != nil {
		says += " The band is what was said not to matter."
	}
	if d.o.contrast() == kind.OddsRatio {
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
	return "Lines of pairs, " + d.words + ". " + strings.Join(parts, " ")
}
