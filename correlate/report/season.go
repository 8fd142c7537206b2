package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/plot/vg"

	"parstead/light"
	"parstead/light/account"
)

const (
	seasonTop    = 150.0
	seasonBottom = 810.0
	seasonLeft   = 380.0
	mostStrips   = 8
	mostEvents   = 10 // named under the strips
	muchFilled   = 0.05
)

// seasonEvent is an event of the log with the number that it has on the picture.
type seasonEvent struct {
	light.Event
	number int
	date   light.Date
}

// seasons draw each bin's light day by day, with gaps and events.
func (r *Report) seasons(names fileNames) []picture {
	if len(r.Days) == 0 || r.Rack.Zone == nil {
		return nil
	}
	bins := map[string][]account.BinDay{}
	var order []string
	high := 0.0
	for _, d := range account.PerBin(r.Days) {
		if len(bins[d.Bin]) == 0 {
			order = append(order, d.Bin)
		}
		bins[d.Bin] = append(bins[d.Bin], d)
		if d.Known {
			high = max(high, float64(d.Max))
		}
	}
	events := r.seasonEvents()
	var pictures []picture
	pages := (len(order) + mostStrips - 1) / mostStrips
	for page := range slices.Chunk(order, (len(order)+pages-1)/pages) {
		s := season{&r.Rack, page, bins, events, high}
		pictures = append(pictures, picture{
			file: names.of("season"), title: "Light day by day" + pageOf(len(pictures), pages), of: rackWide,
			caption: s.caption(), alt: s.alt(), table: s.table(), draw: s.draw,
		})
	}
	return pictures
}

// seasonEvents are what happened on the rack; the program's own entries, but for
// steps of the clock, are not drawn. A stretch stands where it begins.
func (r *Report) seasonEvents() []seasonEvent {
	var list []seasonEvent
	for _, e := range light.Standing(r.Log) {
		switch e.Kind {
		case light.Started, light.Dealt, light.Looked, light.Entered, light.Filed, light.Photographed, light.Mute:
			continue
		}
		at := e.At
		if !e.During.From.IsZero() {
			at = e.During.From
		}
		date := r.Rack.DateAt(at)
		if date.Before(r.Rack.Starts) || r.Rack.Ends.Before(date) {
			continue
		}
		list = append(list, seasonEvent{Event: e, date: date})
	}
	slices.SortStableFunc(list, func(a, b seasonEvent) int { return b.date.DaysUntil(a.date) })
	for i := range list {
		list[i].number = i + 1
	}
	return list
}

func (e seasonEvent) words() string {
	words := strings.ReplaceAll(string(e.Kind), "_", " ")
	if e.Bin != "" {
		words += ", " + e.Bin
	}
	if e.Sensor != "" {
		words += ", " + e.Sensor
	}
	if e.Plant != "" {
		words += ", " + e.Plant
	}
	if e.Text != "" {
		words += ": " + e.Text
	}
	return words
}

type season struct {
	rack   *light.Rack
	page   []string
	bins   map[string][]account.BinDay
	events []seasonEvent
	high   float64
}

// meant is what the grower meant to give a bin; 0 where not said.
func (s season) meant(bin string) float64 {
	b, _ := s.rack.Bin(bin)
	return float64(b.TargetDLI)
}

// x is where a date stands: the middle of its day.
func (s season) x(d light.Date) float64 {
	days := float64(s.rack.Starts.DaysUntil(s.rack.Ends) + 1)
	return seasonLeft + (float64(s.rack.Starts.DaysUntil(d))+0.5)*s.day(days)
}

func (s season) day(days float64) float64 { return (width - margin - seasonLeft) / days }

func (s season) draw(p pen) {
	p.heading("Light day by day", "daily light integral, mol m⁻² d⁻¹: mean of a bin's positions; thin lines: from the least to the most lit position")
	days := s.rack.Starts.DaysUntil(s.rack.Ends) + 1
	step := (seasonBottom - seasonTop) / float64(len(s.page))
	s.dates(p, days)
	for i, bin := range s.page {
		top := seasonTop + step*float64(i)
		y := axis{low: 0, high: 1.05 * max(s.high, s.meant(bin), 1e-3)}.between(top+step-8, top+22)
		s.strip(p, bin, y, s.day(float64(days)), i == 0)
	}
	s.key(p)
}

// dates writes the days under the last strip.
func (s season) dates(p pen, days int) {
	every := 1
	for _, every = range []int{1, 2, 7, 14, 28, 56, 112, 365} {
		if days/every <= 13 {
			break
		}
	}
	for d := 0; d < days; d += every {
		date := s.rack.Starts.Add(d)
		x := s.x(date)
		p.segment(x, seasonTop, x, seasonBottom, rule)
		p.text(x, seasonBottom+30, 22, middle, false, grey, fmt.Sprintf("%d %s", date.Day, date.Month.String()[:3]))
	}
}

// strip draws one bin.
func (s season) strip(p pen, bin string, y axis, day float64, first bool) {
	p.text(margin, (y.from+y.to)/2+8, smallSize, left, true, ink, fitted(bin, smallSize, true, seasonLeft-margin-70))
	y.beside(p, seasonLeft, width-margin, 20)
	if m := s.meant(bin); m > 0 {
		p.segment(seasonLeft, y.at(m), width-margin, y.at(m), line{ink, 2, []vg.Length{2, 6}})
	}
	r := max(2.5, min(7, 0.3*day))
	var xs, ys []float64
	unbroken := func() {
		if len(xs) > 1 {
			var path [][2]float64
			for i := range xs {
				path = append(path, [2]float64{xs[i], ys[i]})
			}
			p.stroke(through(false, path...), line{hue, 1.5, nil})
		}
		xs, ys = nil, nil
	}
	for _, d := range s.bins[bin] {
		x := s.x(d.Date)
		if !d.Known {
			unbroken()
			p.fill(box(x-day/2, y.to, day, y.from-y.to), faint)
			continue
		}
		p.segment(x, y.at(float64(d.Min)), x, y.at(float64(d.Max)), line{dots, max(1, min(3, 0.2*day)), nil})
		xs, ys = append(xs, x), append(ys, y.at(float64(d.Mean)))
		defer func(x, y float64, hollow bool) {
			if p.fill(disc(x, y, r), hue); hollow {
				p.fill(disc(x, y, 0.6*r), paper)
			}
		}(x, y.at(float64(d.Mean)), d.Filled > muchFilled || d.Missing > muchFilled)
	}
	unbroken()
	s.happened(p, bin, y, first)
}

// happened marks a bin's events, and on the first strip those of the whole rack
// with their numbers.
func (s season) happened(p pen, bin string, y axis, first bool) {
	last := math.Inf(-1)
	for _, e := range s.events {
		if e.Bin != "" && e.Bin != bin {
			continue
		}
		x := s.x(e.date)
		p.segment(x, y.to-14, x, y.from, line{ink, 2, []vg.Length{8, 5}})
		if e.Bin == "" && !first {
			continue
		}
		word := strconv.Itoa(e.number)
		at := max(x+5, last+6)
		p.text(at, y.to, 20, left, true, ink, word)
		last = at + textWidth(word, 20, true)
	}
}

// key says what the marks are and names the first events.
func (s season) key(p pen) {
	const y = 874.0
	x := float64(margin)
	entry := func(means string, draw func(x float64)) {
		draw(x + 14)
		p.text(x+40, y+8, 22, left, false, ink, means)
		x += 40 + textWidth(means, 22, false) + 40
	}
	entry("mean", func(x float64) { p.fill(disc(x, y, 7), hue) })
	entry("a part filled in or missing", func(x float64) { p.fill(disc(x, y, 7), hue); p.fill(disc(x, y, 4.2), paper) })
	entry("not known", func(x float64) { p.fill(box(x-12, y-12, 24, 24), faint) })
	entry("meant to be given", func(x float64) { p.segment(x-14, y, x+14, y, line{ink, 2, []vg.Length{2, 6}}) })
	if len(s.events) == 0 {
		return
	}
	entry("event", func(x float64) { p.segment(x, y-14, x, y+14, line{ink, 2, []vg.Length{8, 5}}) })
	const column, down = (width - 2*margin) / 2.0, mostEvents / 2
	shown := s.events
	if len(shown) > mostEvents {
		shown = shown[:mostEvents-1]
	}
	place := func(i int) (x, yy float64) { return margin + column*float64(i/down), y + 50 + 35*float64(i%down) }
	for i, e := range shown {
		x, y := place(i)
		words := fmt.Sprintf("%d  %d %s, %s", e.number, e.date.Day, e.date.Month.String()[:3], e.words())
		p.text(x, y, 22, left, false, ink, fitted(words, 22, false, column-30))
	}
	if more := len(s.events) - len(shown); more > 0 {
		x, y := place(len(shown))
		p.text(x, y, 22, left, false, grey, fmt.Sprintf("and %d more, in the log among the tables", more))
	}
}

func (s season) caption() string {
	says := fmt.Sprintf("Daily light integral of every bin, %s to %s. Full dots: measured; hollow dots: more than a twentieth was filled in or is missing; grey days: not known. Thin lines run from the least to the most lit position. Dotted: what was meant to be given.", s.rack.Starts, s.rack.Ends)
	if len(s.events) > 0 {
		var parts []string
		for _, e := range s.events {
			parts = append(parts, fmt.Sprintf("%d %s, %s", e.number, e.date, e.words()))
		}
		says += " Dashed lines are events of the log: " + strings.Join(parts, "; ") + "."
	}
	return says
}

func (s season) alt() string {
	parts := []string{"Strips of daily light by bin."}
	for _, bin := range s.page {
		var mean mean
		gone, filled := 0, 0
		for _, d := range s.bins[bin] {
			switch {
			case !d.Known:
				gone++
			case d.Filled > muchFilled || d.Missing > muchFilled:
				filled++
				fallthrough
			default:
				mean.add(float64(d.Mean))
			}
		}
		if mean.n == 0 {
			parts = append(parts, bin+": not known on any day.")
			continue
		}
		parts = append(parts, fmt.Sprintf("%s: mean %s, days from %s to %s, %d partly filled in or missing, %d not known.", bin, mean.words(), number(mean.least), number(mean.most), filled, gone))
	}
	return strings.Join(parts, " ")
}

func (s season) table() [][]string {
	rows := [][]string{{"bin", "date", "mean_dli_mol_per_m2_and_day", "least", "most", "filled", "missing", "event", "text"}}
	for _, bin := range s.page {
		for _, d := range s.bins[bin] {
			row := []string{bin, d.Date.String(), "", "", "", exact(d.Filled), exact(d.Missing), "", ""}
			if d.Known {
				row[2], row[3], row[4] = exact(float64(d.Mean)), exact(float64(d.Min)), exact(float64(d.Max))
			}
			rows = append(rows, row)
		}
	}
	for _, e := range s.events {
		if e.Bin == "" || slices.Contains(s.page, e.Bin) {
			rows = append(rows, []string{e.Bin, e.date.String(), "", "", "", "", "", strconv.Itoa(e.number), e.words()})
		}
	}
	return rows
}
