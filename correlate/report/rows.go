package report

import "image/color"

// rows is a picture of lines of a list: a label at the left, a plot in the
// middle, words at the right, headings between.
type rows struct {
	entries     []entry
	left, right float64 // of the plot
	top, bottom float64
	step        float64
	size        float64 // how many times as large as usual texts are
}

// entry is one line of the list; without words and a plot it is a heading.
type entry struct {
	heading bool
	label   string
	words   string
	of      int // whatever the picture draws there
}

const (
	rowsTop    = 150.0
	rowsBottom = 930.0
	leastStep  = 46.0
	mostLabel  = 640.0
	mostRows   = 16 // lines that fit at leastStep
)

// pagesOf cuts a list into pictures, repeating the heading that a cut falls under.
func pagesOf(entries []entry) [][]entry {
	var pages [][]entry
	var page []entry
	var under *entry
	for i, e := range entries {
		ends := len(page) >= mostRows || e.heading && len(page) >= mostRows-1
		if ends {
			pages, page = append(pages, page), nil
			if !e.heading && under != nil {
				page = append(page, *under)
			}
		}
		if e.heading {
			under = &entries[i]
		}
		page = append(page, e)
	}
	if len(page) > 0 {
		pages = append(pages, page)
	}
	return pages
}

// layRows gives the labels and words the room they need and the plot the rest.
func layRows(entries []entry) rows { return layLarge(entries, 1) }

// layLarge does so with larger texts.
func layLarge(entries []entry, size float64) rows {
	labels, words := 0.0, 0.0
	for _, e := range entries {
		if !e.heading {
			labels = max(labels, textWidth(e.label, size*labelSize, false))
			words = max(words, textWidth(e.words, size*smallSize, false))
		}
	}
	labels, words = min(labels, mostLabel), min(words, 480*size)
	n := float64(max(1, len(entries)))
	step := min(130, (rowsBottom-rowsTop)/n)
	return rows{
		entries: entries,
		left:    margin + labels + 30, right: width - margin - words - 30,
		top: rowsTop, bottom: rowsTop + step*n, step: step, size: size,
	}
}

// each writes labels, words and headings, and has every line's plot drawn at the
// height of its middle. A heading's line is handed to nobody.
func (l rows) each(p pen, plot func(of int, y float64)) {
	for i, e := range l.entries {
		y := l.top + l.step*(float64(i)+0.5)
		large, small := l.size*labelSize, l.size*smallSize
		if e.heading {
			high := min(l.step-6, 50*l.size)
			p.fill(box(margin-14, y-l.step/2+4, width-2*margin+28, high), haze)
			p.text(margin, y-l.step/2+4+high/2+0.36*large, large, left, true, ink, fitted(e.label, large, true, width-2*margin))
			continue
		}
		p.text(margin, y+0.36*large, large, left, false, ink, fitted(e.label, large, false, l.left-30-margin))
		p.text(width-margin, y+0.36*small, small, right, false, grey, fitted(e.words, small, false, width-margin-l.right-20))
		plot(e.of, y)
	}
}

// interval draws a 95 % interval; an end beyond the axis is an arrow.
func interval(p pen, a axis, low, high, y, cap float64, c color.Color) {
	x1, x2 := a.at(low), a.at(high)
	l := line{c, 5, nil}
	p.segment(x1, y, x2, y, l)
	for _, end := range []struct{ v, x, way float64 }{{low, x1, -1}, {high, x2, 1}} {
		if end.v >= a.low && end.v <= a.high {
			p.segment(end.x, y-cap, end.x, y+cap, l)
			continue
		}
		tip := end.x + end.way*14
		p.fill(through(true, [2]float64{tip, y}, [2]float64{tip - end.way*20, y - cap}, [2]float64{tip - end.way*20, y + cap}), c)
	}
}
