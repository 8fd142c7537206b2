package report

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"parstead/correlate"

	"parstead/correlate/phrase"
)

// groupRow is a group with the plants in it.
type groupRow struct {
	correlate.Group
	treatments string // "medium", or "cultivar × medium" for a cell
	level      string
	plants     []int // rows of the input
	units      string
}

// mean is what the interval is of: the adjusted mean, or a share as it was seen.
func (g groupRow) mean() *float64 {
	if g.AdjustedMean != nil {
		return g.AdjustedMean
	}
	return g.Mean
}

// groups draw every plant by treatment, with adjusted means and intervals.
func (r *Report) groups(names fileNames, o *outcome) []picture {
	var list []groupRow
	for _, g := range o.Groups {
		list = append(list, r.groupRow(o, g))
	}
	if len(list) == 0 {
		return nil
	}
	var entries []entry
	for i, g := range list {
		if i == 0 || g.treatments != list[i-1].treatments {
			entries = append(entries, entry{heading: true, label: g.treatments})
		}
		entries = append(entries, entry{label: g.level, words: g.units, of: i})
	}
	var values []float64
	for _, g := range list {
		for _, row := range g.plants {
			values = append(values, o.used[row].Value)
		}
		if g.CI95 != nil {
			values = append(values, g.CI95[0], g.CI95[1])
		}
		if m := g.mean(); m != nil {
			values = append(values, *m)
		}
	}
	a := axisOver(o.log(), values...)
	if o.answers() {
		a = axis{low: -aside, high: 1 + aside, share: true}
	}
	pages := pagesOf(entries)
	var pictures []picture
	for i, page := range pages {
		d := groupPicture{o, list, layRows(page), a}
		pictures = append(pictures, picture{
			file:    o.file(names, "groups"),
			title:   o.title() + " by treatment" + pageOf(i, len(pages)),
			of:      o.index,
			caption: d.caption(),
			alt:     d.alt(),
			table:   d.table(),
			draw:    d.draw,
			main:    true,
		})
	}
	return pictures
}

func (r *Report) groupRow(o *outcome, g correlate.Group) groupRow {
	row := groupRow{Group: g}
	var names, levels []string
	for _, t := range r.Input.Treatments { // in the order of the trial
		if l, ok := g.Levels[t.Name]; ok {
			names, levels = append(names, t.Name), append(levels, l)
		}
	}
	for _, n := range slices.Sorted(maps.Keys(g.Levels)) {
		if !slices.Contains(names, n) {
			names, levels = append(names, n), append(levels, g.Levels[n])
		}
	}
	row.treatments, row.level = strings.Join(names, " × "), strings.Join(levels, ", ")
	units := map[int]bool{}
	per := correlate.PerPlant
	for _, p := range o.Points {
		in := true
		for i, n := range names {
			t := r.treatment(n)
			in = in && t != nil && level(&t.Factor, p.Row) == levels[i]
		}
		if !in {
			continue
		}
		row.plants = append(row.plants, p.Row)
		if t := r.treatment(names[0]); len(names) == 1 && t != nil {
			per = t.SetPer
		}
		switch {
		case per == correlate.PerBin && r.Input.Bin != nil:
			units[r.Input.Bin.Codes[p.Row]] = true
		case per == correlate.PerReservoir && r.Input.Reservoir != nil:
			units[r.Input.Reservoir.Codes[p.Row]] = true
		}
	}
	row.units = "n " + strconv.Itoa(g.N)
	switch {
	case len(units) == 0:
	case per == correlate.PerReservoir:
		row.units = fmt.Sprintf("%s in %s", count(g.N, "plant", "plants"), count(len(units), "reservoir", "reservoirs"))
	default:
		row.units = fmt.Sprintf("%s in %s", count(g.N, "plant", "plants"), count(len(units), "bin", "bins"))
	}
	return row
}

type groupPicture struct {
	o    *outcome
	list []groupRow
	rows rows
	axis axis
}

func (d groupPicture) draw(p pen) {
	sub := "a dot a plant; diamond"
	if d.o.answers() {
		sub = "a dot a plant, at the left without, at the right with; diamond"
	}
	if d.intervals() {
		sub += " and line: " + d.centre() + " with its 95 % interval"
	} else {
		sub += ": " + d.centre()
	}
	p.heading(d.o.title()+" by treatment", sub)
	a := d.axis.between(d.rows.left, d.rows.right)
	a.below(p, d.rows.top, d.rows.bottom, smallSize)
	a.label(p, d.rows.bottom, d.label())
	d.rows.each(p, func(of int, y float64) {
		g := d.list[of]
		room := d.rows.step
		if d.o.answers() {
			d.packed(p, a, g, y-0.12*room, 0.5*room)
		} else {
			for i, row := range g.plants {
				p.plant(d.o.plantWords(row))
				p.fill(disc(a.at(d.o.used[row].Value), y-0.12*room+scatter(i)*0.5*room, 6), dots)
			}
		}
		below := y + 0.30*room
		if g.CI95 != nil {
			interval(p, a, g.CI95[0], g.CI95[1], below, min(10, 0.14*room), ink)
		}
		if m := g.mean(); m != nil {
			p.mark(3, a.at(*m), below, 9, ink)
		}
	})
}

// centre names what the diamonds are.
func (d groupPicture) centre() string {
	switch {
	case d.o.answers():
		return "share"
	case slices.ContainsFunc(d.shown(), func(g groupRow) bool { return g.AdjustedMean != nil }):
		return "adjusted mean"
	}
	return "mean"
}

func (d groupPicture) intervals() bool {
	return slices.ContainsFunc(d.shown(), func(g groupRow) bool { return g.CI95 != nil })
}

// aside is the room beside an axis of shares in which its plants are packed.
const aside = 0.2

// packed draws a group's plants beside an axis of shares: those without at the
// left, those with at the right, in columns of what the height holds, closer
// where there are many.
func (d groupPicture) packed(p pen, a axis, g groupRow, y, high float64) {
	with := 0
	for _, row := range g.plants {
		if d.o.used[row].Value == 1 {
			with++
		}
	}
	pitch := 14.0
	room := a.at(0) - a.from - 30
	for most := max(with, len(g.plants)-with); pitch > 2; pitch -= 0.5 {
		if tall := max(1, int(high/pitch)); float64((most+tall-1)/tall)*pitch <= room {
			break
		}
	}
	tall := max(1, int(high/pitch))
	var left, right int
	for _, row := range g.plants {
		n, edge, way := &left, a.at(0)-22, -1.0
		if d.o.used[row].Value == 1 {
			n, edge, way = &right, a.at(1)+22, 1
		}
		p.plant(d.o.plantWords(row))
		p.fill(disc(edge+way*pitch*float64(*n/tall), y-high/2+pitch*(float64(*n%tall)+0.5), 0.43*pitch), dots)
		*n++
	}
}

// scatter spreads dots over the height of a line, from −½ to ½: the fractional
// parts of multiples of the golden ratio leave no gaps and no clusters.
func scatter(i int) float64 {
	const golden = 0.6180339887498949
	x := float64(i+1) * golden
	return x - float64(int(x)) - 0.5
}

func (d groupPicture) label() string {
	if d.o.answers() {
		return "share of plants with " + d.o.Name
	}
	return d.o.measured()
}

func (d groupPicture) shown() []groupRow {
	var list []groupRow
	for _, e := range d.rows.entries {
		if !e.heading {
			list = append(list, d.list[e.of])
		}
	}
	return list
}

func (d groupPicture) caption() string {
	says := "Every plant that was analysed, a dot each, at its own value."
	if d.o.answers() {
		says += " Dots beyond 100 % are plants with " + d.o.Name + ", dots before 0 % those without."
	}
	says += " The diamond is the " + d.centre()
	if d.centre() == "adjusted mean" {
		says += ", for equal covariates, light and bins where these are in the model"
	}
	if d.intervals() {
		says += "; the line is its 95 % interval"
	}
	says += "."
	if d.o.log() {
		says += " The axis is logarithmic, as the analysis is."
	}
	if slices.ContainsFunc(d.shown(), func(g groupRow) bool { return strings.Contains(g.units, " in ") }) {
		says += " Where whole bins or reservoirs got a treatment, they are its replicates, not the plants."
	}
	return says
}

func (d groupPicture) alt() string {
	var parts []string
	for _, g := range d.shown() {
		says := g.treatments + " " + g.level + ": " + g.units
		if m := g.mean(); m != nil {
			value, interval := phrase.Unit(number(*m), d.o.Unit), phrase.Between(g.CI95)
			if d.o.answers() {
				value, interval = phrase.WholePercent(*m), phrase.SharesBetween(g.CI95)
			}
			if says += ", " + value; interval != "" {
				says += " (" + interval + ")"
			}
		}
		parts = append(parts, says)
	}
	return "Dots of single plants with means and 95 % intervals of " + d.o.title() + ". " + strings.Join(parts, "; ") + "."
}

func (d groupPicture) table() [][]string {
	rows := [][]string{{"treatment", "level", "what", "plant", "value", "ci95_low", "ci95_high", "n"}}
	for _, g := range d.shown() {
		for _, row := range g.plants {
			rows = append(rows, []string{g.treatments, g.level, "plant", d.o.codes[row], exact(d.o.used[row].Value), "", "", ""})
		}
		low, high := ends(g.CI95)
		what := "adjusted mean"
		if g.AdjustedMean == nil {
			what = "mean"
		}
		rows = append(rows, []string{g.treatments, g.level, what, "", exactOf(g.mean()), low, high, strconv.Itoa(g.N)})
	}
	return rows
}
