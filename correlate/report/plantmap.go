package report

import (
	"fmt"
	"image/color"
	"math"
	"strconv"
	"strings"

	"parstead/light"

	"parstead/correlate/phrase"
)

// plantCell is what a map shows of one plant.
type plantCell struct {
	light.Position
	plant string
	state cellState
	value float64
	why   string // of a missing plant
	row   int    // of the input
}

type cellState uint8

const (
	valued  cellState = iota // entered the results
	missing                  // asked, and not there
	guarded                  // a guard
	apart                    // the outcome is not asked of it
)

// plantMaps draw an outcome where its plants stood, as they were dealt.
func (r *Report) plantMaps(names fileNames, o *outcome) []picture {
	if r.Input.Row == nil || r.Input.Bin == nil {
		return nil
	}
	cells := map[string][]plantCell{}
	asked := map[string]bool{}
	low, high := math.Inf(1), math.Inf(-1)
	for row, plant := range r.Input.Plants {
		c := plantCell{Position: light.Position{Bin: level(r.Input.Bin, row), Row: r.Input.Row[row], Column: r.Input.Column[row]}, plant: plant, value: math.NaN(), row: row}
		point, used := o.used[row]
		switch {
		case r.guard(row):
			c.state = guarded
		case used:
			c.state, c.value = valued, point.Value
			low, high = min(low, c.value), max(high, c.value)
		case r.asks(o, row):
			c.state, c.why = missing, r.why(o, row)
		default:
			c.state = apart
		}
		cells[c.Bin] = append(cells[c.Bin], c)
		asked[c.Bin] = asked[c.Bin] || c.state == valued || c.state == missing
	}
	var bins []light.Bin
	for _, b := range r.Rack.Bins {
		if asked[b.Name] {
			bins = append(bins, b)
		}
	}
	pages := grids(bins)
	list := make([]picture, 0, len(pages))
	for i, page := range pages {
		m := plantMap{o, page, cells, low, high}
		list = append(list, picture{
			file:    o.file(names, "plant map"),
			title:   o.title() + ": where the plants stood" + pageOf(i, len(pages)),
			of:      o.index,
			caption: m.caption(),
			alt:     m.alt(),
			table:   m.table(),
			draw:    m.draw,
		})
	}
	return list
}

type plantMap struct {
	o         *outcome
	page      []grid
	cells     map[string][]plantCell
	low, high float64
}

func (m plantMap) share(v float64) float64 {
	if m.high <= m.low {
		return 0.5
	}
	if m.o.log() && m.low > 0 {
		return math.Log(v/m.low) / math.Log(m.high/m.low)
	}
	return (v - m.low) / (m.high - m.low)
}

// tally counts the plants of a grid, or of all.
func (m plantMap) tally(grids ...grid) (used, gone, yes int, mean float64) {
	for _, g := range grids {
		for _, c := range m.cells[g.Name] {
			switch c.state {
			case valued:
				used++
				mean += c.value
				if c.value == 1 {
					yes++
				}
			case missing:
				gone++
			}
		}
	}
	return used, gone, yes, mean / float64(used)
}

func (m plantMap) says(grids ...grid) string {
	used, gone, yes, mean := m.tally(grids...)
	says := count(used, "plant", "plants")
	switch {
	case used == 0:
		says = "no plant with a value"
	case m.o.answers():
		says = fmt.Sprintf("%d of %s", yes, says)
	default:
		says += ", mean " + number(mean)
	}
	if gone > 0 {
		says += fmt.Sprintf(", %d missing", gone)
	}
	return says
}

func (m plantMap) draw(p pen) {
	says := "a cell a plant, as dealt"
	if !m.o.answers() {
		says = unit(says+"; the number is its value", m.o.Unit)
	}
	p.heading(m.o.title()+": where the plants stood", says)
	var guards, others, gone bool
	for _, g := range m.page {
		g.head(p, m.says(g))
		for _, c := range m.cells[g.Name] {
			if !g.Contains(c.Position) {
				continue
			}
			x, y := g.corner(c.Row, c.Column)
			x, y = x+g.cellWidth/2, y+g.cellHeight/2
			if c.state == valued || c.state == missing {
				p.plant(m.o.plantWords(c.row))
			}
			switch {
			case c.state == guarded:
				g.cell(p, c.Row, c.Column, haze, grey, rule, "guard")
				guards = true
			case c.state == apart:
				p.fill(disc(x, y, 4), faint)
				others = true
			case c.state == missing:
				g.slash(p, c.Row, c.Column)
				gone = true
			case m.o.answers():
				g.cell(p, c.Row, c.Column, paper, ink, rule, "")
				m.ring(p, x, y, min(g.cellWidth, g.cellHeight), c.value == 1)
			default:
				fill, text := shade(m.share(c.value))
				g.cell(p, c.Row, c.Column, fill, text, rule, cellNumber(c.value))
			}
		}
	}
	x := float64(margin)
	switch {
	case m.o.answers():
		x = key(p, x, func(x, y, w, h float64) { m.ring(p, x+w/2, y+h/2, h*1.2, true) }, m.o.Name)
		x = key(p, x, func(x, y, w, h float64) { m.ring(p, x+w/2, y+h/2, h*1.2, false) }, "not")
	case m.low <= m.high:
		x = rampKey(p, x, number(m.low), phrase.Unit(number(m.high), m.o.Unit))
	}
	if gone {
		x = key(p, x, func(x, y, w, h float64) {
			p.stroke(box(x, y, w, h), rule)
			p.segment(x+8, y+h-8, x+w-8, y+8, line{grey, 2.5, nil})
		}, "missing")
	}
	if others {
		x = key(p, x, func(x, y, w, h float64) { p.fill(disc(x+w/2, y+h/2, 4), faint) }, "another part of the trial")
	}
	if guards {
		key(p, x, func(x, y, w, h float64) {
			p.fill(box(x, y, w, h), haze)
			p.stroke(box(x, y, w, h), rule)
		}, "guard, not analysed")
	}
}

// ring marks a plant that something happened to; a dot one that it did not.
func (m plantMap) ring(p pen, x, y, cell float64, yes bool) {
	if yes {
		p.stroke(disc(x, y, 0.3*cell), line{hue, 6, nil})
		return
	}
	p.fill(disc(x, y, 5), color.NRGBA{150, 160, 156, 255})
}

func (m plantMap) caption() string {
	says := "Each plant at the position it was dealt to. "
	switch {
	case m.o.answers():
		says += "A ring: " + m.o.Name + "; a dot: not."
	case m.o.log():
		says += "The darker the cell, the larger the value, in steps of its logarithm."
	default:
		says += "The darker the cell, the larger the value."
	}
	return says + " A slash: the plant is missing from these results (lost, withdrawn, left out or without a value; the table beside says which)."
}

func (m plantMap) alt() string {
	parts := []string{"Grids of the bins' positions with each plant's " + unit(m.o.Name, m.o.Unit) + "."}
	for _, g := range m.page {
		parts = append(parts, g.Name+": "+m.says(g)+".")
	}
	return strings.Join(parts, " ")
}

func (m plantMap) table() [][]string {
	rows := [][]string{{"plant", "bin", "row", "column", m.o.Name, "state"}}
	for _, g := range m.page {
		for _, c := range m.cells[g.Name] {
			if !g.Contains(c.Position) {
				continue
			}
			state := [...]string{"analysed", c.why, "guard", "another part of the trial"}[c.state]
			rows = append(rows, []string{c.plant, c.Bin, strconv.Itoa(c.Row), strconv.Itoa(c.Column), exact(c.value), state})
		}
	}
	return rows
}
