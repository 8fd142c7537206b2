package report

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"parstead/correlate"
	"parstead/correlate/phrase"
)

// panel is two outcomes against one another.
type panel struct {
	correlate.Correlation
	a, b   *outcome
	plants []int // rows of the input
}

const mostPanels = 12

// outcomes draw every two outcomes against one another.
func (r *Report) outcomes(names fileNames) []picture {
	var parts [][]panel
	for _, c := range r.Result.OutcomeCorrelations {
		q := r.panel(c)
		if len(q.plants) == 0 {
			continue
		}
		if n := len(parts); n == 0 || phrase.Of(parts[n-1][0].Of) != phrase.Of(c.Of) {
			parts = append(parts, nil)
		}
		parts[len(parts)-1] = append(parts[len(parts)-1], q)
	}
	var pictures []picture
	for _, part := range parts {
		pages := slices.Collect(slices.Chunk(part, mostPanels))
		for i, page := range pages {
			d := panels{r.Input, page}
			var words []string
			for _, value := range page[0].Of {
				words = append(words, value) // there is one
			}
			pictures = append(pictures, picture{
				file: names.of(append(words, "outcomes")...), title: d.title() + pageOf(i, len(pages)), of: allOutcomes,
				caption: "A dot a plant, each panel two outcomes; plants of all treatments. ρ: rank correlation within treatments, so that a treatment that moves both does not make it, with its 95 % interval. Yes/no outcomes are spread a little, that dots don't hide one another.",
				alt:     d.alt(), table: d.table(), draw: d.draw,
			})
		}
	}
	return pictures
}

func (r *Report) panel(c correlate.Correlation) panel {
	q := panel{Correlation: c}
	for i := range r.Result.Outcomes {
		o := &r.Result.Outcomes[i]
		if phrase.Of(o.Of) != phrase.Of(c.Of) {
			continue
		}
		switch o.Name {
		case c.A:
			q.a = r.outcome(i)
		case c.B:
			q.b = r.outcome(i)
		}
	}
	if q.a == nil || q.b == nil {
		return q
	}
	in := r.Input
	for row := range in.Plants {
		if r.asks(q.a, row) && r.asks(q.b, row) && !math.IsNaN(q.a.in.Values[row]) && !math.IsNaN(q.b.in.Values[row]) &&
			(in.Status == nil || in.Status[row] == correlate.Harvested) && (in.LeaveOut == nil || in.LeaveOut[row] == "") {
			q.plants = append(q.plants, row)
		}
	}
	return q
}

func (q panel) says() string {
	says := "n " + strconv.Itoa(q.N)
	if q.Rho == nil {
		return "no rank correlation; " + says
	}
	if q.CI95 != nil {
		return fmt.Sprintf("ρ %s (%s), %s", two(*q.Rho), two(q.CI95[0])+" to "+two(q.CI95[1]), says)
	}
	return fmt.Sprintf("ρ %s, %s", two(*q.Rho), says)
}

// two writes a correlation.
func two(x float64) string { return phrase.Minus(strconv.FormatFloat(x, 'f', 2, 64)) }

type panels struct {
	in   *correlate.Input
	list []panel
}

func (d panels) title() string {
	if of := phrase.Of(d.list[0].Of); of != "" {
		return "Outcomes against one another, " + of
	}
	return "Outcomes against one another"
}

func (d panels) draw(p pen) {
	p.heading(d.title(), "a dot a plant; ρ: rank correlation within treatments, with its 95 % interval")
	across := 1
	for _, across = range []int{1, 2, 3, 4} {
		if len(d.list) <= across*(across+1)/2 || across == 4 {
			break
		}
	}
	down := (len(d.list) + across - 1) / across
	w, h := (width-2*margin)/float64(across), (height-140-20)/float64(down)
	for i, q := range d.list {
		d.panel(p, q, margin+w*float64(i%across), 140+h*float64(i/across), w, h)
	}
}

func (d panels) panel(p pen, q panel, x0, y0, w, h float64) {
	size := max(18.0, min(smallSize, w/20))
	p.text(x0, y0+size, size, left, true, ink, fitted(q.says(), size, true, w-20))
	x := q.a.axis(q.plants).between(x0+4.2*size, x0+w-30)
	y := q.b.axis(q.plants).between(y0+h-3.8*size, y0+2.9*size)
	x.below(p, y.to, y.from, size)
	y.beside(p, x.from, x.to, size)
	p.text((x.from+x.to)/2, y.from+2.6*size, size, middle, false, ink, fitted(unit(q.a.Name, q.a.Unit), size, false, x.to-x.from))
	p.text(x0, y.to-0.6*size, size, left, false, ink, fitted(unit(q.b.Name, q.b.Unit), size, false, w-20))
	for i, row := range q.plants {
		p.plant(q.a.plantWords(row) + "; " + q.b.value(row))
		p.fill(disc(x.at(q.a.drawn(row, i)), y.at(q.b.drawn(row, 3*i+1)), max(3.5, min(6, w/100))), dots)
	}
}

func (d panels) alt() string {
	parts := []string{"Scatter panels of outcomes."}
	for _, q := range d.list {
		parts = append(parts, fmt.Sprintf("%s and %s: %s.", q.A, q.B, q.says()))
	}
	return strings.Join(parts, " ")
}

func (d panels) table() [][]string {
	rows := [][]string{{"a", "b", "plant", "value_a", "value_b", "rho", "ci95_low", "ci95_high", "n"}}
	for _, q := range d.list {
		for _, row := range q.plants {
			rows = append(rows, []string{q.A, q.B, d.in.Plants[row], exact(q.a.in.Values[row]), exact(q.b.in.Values[row]), "", "", "", ""})
		}
		low, high := ends(q.CI95)
		rows = append(rows, []string{q.A, q.B, "", "", "", exactOf(q.Rho), low, high, strconv.Itoa(q.N)})
	}
	return rows
}
