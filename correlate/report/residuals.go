package report

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"parstead/correlate"
)

// residuals draw what a measure's model leaves of each plant: by what it expects, and
// by where the plant stood.
func (r *Report) residuals(names fileNames, o *outcome) []picture {
	d := residualPicture{o: o, log: o.log()}
	if o.Model != "least squares" || o.ResidualSD == nil {
		return nil
	}
	for _, p := range o.Points {
		if math.IsNaN(p.Residual) {
			continue
		}
		q := residualPoint{plant: o.codes[p.Row], bin: level(r.Input.Bin, p.Row), left: p.Residual / *o.ResidualSD, fitted: p.Value - p.Residual}
		if d.log {
			q.fitted = p.Value / math.Exp(p.Residual)
		}
		if r.Input.Row != nil {
			q.row, q.column = r.Input.Row[p.Row], r.Input.Column[p.Row]
			d.rows, d.columns = max(d.rows, q.row), max(d.columns, q.column)
			if !slices.Contains(d.bins, q.bin) {
				d.bins = append(d.bins, q.bin)
			}
		}
		d.points = append(d.points, q)
	}
	if len(d.points) == 0 {
		return nil
	}
	slices.SortFunc(d.bins, func(a, b string) int { return rank(r.Input.Bin, a) - rank(r.Input.Bin, b) })
	return []picture{{
		file: o.file(names, "residuals"), title: o.title() + ": what the model leaves", of: o.index,
		caption: d.caption(), alt: d.alt(), table: d.table(), draw: d.draw,
	}}
}

// residualPoint is one plant: left is its residual in standard deviations.
type residualPoint struct {
	plant, bin   string
	row, column  int
	fitted, left float64
}

type residualPicture struct {
	o             *outcome
	log           bool
	points        []residualPoint
	bins          []string // where the plants' places are known
	rows, columns int
}

// far is how many standard deviations are drawn as far off.
const far = 3

func (d residualPicture) draw(p pen) {
	to := width - margin
	sub := "in standard deviations, by what the model expects of a plant"
	if len(d.bins) > 0 {
		to = 960
		sub += "; and where it stood"
	}
	p.heading(d.o.title()+": what the model leaves", sub)
	var fitted, left []float64
	for _, q := range d.points {
		fitted, left = append(fitted, q.fitted), append(left, q.left, -q.left)
	}
	x, y := axisOver(d.log, fitted...).between(plotLeft, float64(to)), axisOver(false, left...).between(plotBottom, plotTop)
	x.below(p, plotTop, plotBottom, smallSize)
	p.text((x.from+x.to)/2, plotBottom+78, labelSize, middle, false, ink, ellipsis(unit("expected "+d.o.Name, d.o.Unit), x.to-x.from))
	y.beside(p, plotLeft, float64(to), smallSize)
	p.upward(70, (plotTop+plotBottom)/2, labelSize, ink, "residual")
	p.segment(plotLeft, y.at(0), float64(to), y.at(0), line{ink, 2, nil})
	for _, q := range d.points {
		p.mark(0, x.at(q.fitted), y.at(q.left), 7, dots)
	}
	if len(d.bins) > 0 {
		d.places(p)
	}
}

func ellipsis(s string, room float64) string { return fitted(s, labelSize, false, room) }

// places draws each bin's grid: a disc a plant, its area the residual's size, full
// above what is expected and hollow below.
func (d residualPicture) places(p pen) {
	const from, top, gap = 1050.0, 190.0, 30.0
	room, tall := width-margin-from, plotBottom-top
	across, pitch := 1, 0.0
	for n := 1; n <= len(d.bins); n++ { // as many bins side by side as make the largest grids
		down := (len(d.bins) + n - 1) / n
		wide := (room - gap*float64(n-1)) / float64(n*d.columns)
		high := (tall - (gap+smallSize)*float64(down)) / float64(down*d.rows)
		if size := min(wide, high, 70); size > pitch {
			across, pitch = n, size
		}
	}
	if pitch < 4 {
		p.text(from, top, smallSize, left, false, grey, "too many places to draw; they stand in the table")
		return
	}
	for i, bin := range d.bins {
		x0 := from + float64(i%across)*(float64(d.columns)*pitch+gap)
		y0 := top + float64(i/across)*(float64(d.rows)*pitch+gap+smallSize)
		p.text(x0, y0-8, smallSize, left, false, grey, fitted(bin, smallSize, false, float64(d.columns)*pitch+gap-6))
		p.stroke(box(x0, y0, float64(d.columns)*pitch, float64(d.rows)*pitch), rule)
		for _, q := range d.points {
			if q.bin != bin || q.row < 1 || q.column < 1 {
				continue
			}
			x, y := x0+(float64(q.column)-0.5)*pitch, y0+(float64(q.row)-0.5)*pitch
			radius := 0.46 * pitch * math.Sqrt(min(far, math.Abs(q.left))/far)
			if q.left >= 0 {
				p.fill(disc(x, y, radius), hue)
			} else {
				p.stroke(disc(x, y, radius), line{grey, 2.5, nil})
			}
		}
	}
	p.text(from, plotBottom+78, smallSize, left, false, ink, "full: above what is expected; hollow: below")
}

func (d residualPicture) caption() string {
	says := "Each plant's residual, which is what the model leaves of its value, in standard deviations of all"
	if d.log {
		says += ", on the logarithmic scale of the analysis"
	}
	says += ". A bend or a funnel at the left says that the model or its scale is wrong"
	if len(d.bins) > 0 {
		says += "; full and hollow discs that lie in patches say that the place did something that is not in it"
	}
	return says + "."
}

func (d residualPicture) alt() string {
	most := slices.MaxFunc(d.points, func(a, b residualPoint) int {
		return int(math.Copysign(1, math.Abs(a.left)-math.Abs(b.left)))
	})
	beyond := 0
	for _, q := range d.points {
		if math.Abs(q.left) > 2 {
			beyond++
		}
	}
	return fmt.Sprintf("Residuals of %s of %s: %s beyond two standard deviations; the furthest, %s, at %s.",
		d.o.title(), count(len(d.points), "plant", "plants"), count(beyond, "plant", "plants"), most.plant, number(most.left))
}

func (d residualPicture) table() [][]string {
	rows := [][]string{{"plant", "bin", "row", "column", "expected", "residual_sd"}}
	for _, q := range d.points {
		row, column := "", ""
		if q.row > 0 {
			row, column = fmt.Sprint(q.row), fmt.Sprint(q.column)
		}
		rows = append(rows, []string{q.plant, q.bin, row, column, exact(q.fitted), exact(q.left)})
	}
	return rows
}

// referee is what a referee asks for: the equations and how far bins and plants vary.
func (r *Report) referee() (equations []fact) {
	for _, i := range r.order() {
		o := r.outcome(i)
		if o.Equation == "" {
			continue
		}
		says := []string{o.Equation + "."}
		for _, v := range o.Variance {
			if v.SD == nil {
				continue
			}
			interval, scale := "", ""
			if v.CI95 != nil {
				interval = fmt.Sprintf(" (95 %% interval %s to %s)", number(v.CI95[0]), number(v.CI95[1]))
			}
			if o.Scale == correlate.Log {
				scale = " of the natural logarithm"
			}
			says = append(says, fmt.Sprintf("Standard deviation between %ss by themselves: %s%s%s.", v.Of, number(*v.SD), interval, scale))
		}
		equations = append(equations, fact{o.title(), strings.Join(says, " ")})
	}
	return equations
}
