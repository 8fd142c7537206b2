package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"parstead/light"
	"parstead/light/account"

	"parstead/correlate/phrase"
)

// placeLight is the light of one position over the trial.
type placeLight struct {
	light.Position
	mean   float64 // mol m⁻² d⁻¹, over its days with light known
	days   int
	source account.Source
	error  float64 // one standard deviation as a share of the mean
	filled float64 // share that was filled in
}

// binLight is the light of a bin's positions together.
type binLight struct {
	places    []placeLight
	mean, cv  float64
	low, high float64
	error     float64 // mean over its positions
	filled    float64 // share of its light that was filled in, mean over its positions
}

// lightOfBins sums days up by bin and position.
func (r *Report) lightOfBins() map[string]*binLight {
	bins := map[string]*binLight{}
	for from := 0; from < len(r.Days); {
		to := from
		for to < len(r.Days) && r.Days[to].Position == r.Days[from].Position {
			to++
		}
		if p := overDays(r.Days[from:to]); p.days > 0 {
			b := bins[p.Bin]
			if b == nil {
				b = &binLight{low: math.Inf(1), high: math.Inf(-1)}
				bins[p.Bin] = b
			}
			b.places = append(b.places, p)
			b.low, b.high = min(b.low, p.mean), max(b.high, p.mean)
			b.mean += p.mean
			b.error += p.error
			b.filled += p.filled
		}
		from = to
	}
	for _, b := range bins {
		n := float64(len(b.places))
		b.mean /= n
		b.error /= n
		b.filled /= n
		squares := 0.0
		for _, p := range b.places {
			squares += (p.mean - b.mean) * (p.mean - b.mean)
		}
		b.cv = math.NaN()
		if n > 1 && b.mean > 0 {
			b.cv = math.Sqrt(squares/(n-1)) / b.mean
		}
	}
	return bins
}

// partMissing is the missing share of a day from which it does not count as known
// as a whole, here and for plants.
const partMissing = 0.001

// overDays sums one position's days up. Its error is that of the days taken as
// wrong together, which is the cautious end: maps and sensors err alike every day.
func overDays(days []account.Day) placeLight {
	p := placeLight{Position: days[0].Position}
	var total, from [account.FromTimer + 1]float64
	sum := 0.0
	for _, d := range days {
		if !d.Known || d.Missing > partMissing {
			continue
		}
		p.days++
		sum += float64(d.DLI)
		from[d.Source] += float64(d.DLI)
		total[d.Source]++
		p.error += d.Error.Total() * float64(d.DLI)
		p.filled += d.Filled * float64(d.DLI)
	}
	if p.days == 0 {
		return p
	}
	p.mean = sum / float64(p.days)
	for s := range from {
		if total[s] > 0 && (p.source == account.Unknown || from[s] > from[p.source]) {
			p.source = account.Source(s)
		}
	}
	if sum > 0 {
		p.error /= sum
		p.filled /= sum
	}
	return p
}

// lightMaps draw the mean light of every position, bin by bin.
func (r *Report) lightMaps(names fileNames) []picture {
	bins := r.lightOfBins()
	var known []light.Bin
	low, high := math.Inf(1), math.Inf(-1)
	for _, b := range r.Rack.Bins {
		if l := bins[b.Name]; l != nil {
			known = append(known, b)
			low, high = min(low, l.low), max(high, l.high)
		}
	}
	pages := grids(known)
	list := make([]picture, 0, len(pages))
	for i, page := range pages {
		m := lightMap{page, bins, low, high}
		list = append(list, picture{
			file:  names.of("light map"),
			title: "Light on every position" + pageOf(i, len(pages)),
			of:    rackWide,
			caption: fmt.Sprintf("Mean daily light integral in mol m⁻² d⁻¹ from %s to %s, over the days on which it is known as a whole. Solid border: a sensor stood there; dashed: estimated from light map, the bin's sensors or the lamp's timer. The darker the cell, the more light; one scale for all bins. CV: standard deviation between positions over their mean. Error: one standard deviation of a position's figure.",
				r.Rack.Starts, r.Rack.Ends),
			alt:   m.alt(),
			table: m.table(),
			draw:  m.draw,
		})
	}
	return list
}

type lightMap struct {
	page      []grid
	bins      map[string]*binLight
	low, high float64
}

func (m lightMap) share(v float64) float64 {
	if m.high <= m.low {
		return 0.5
	}
	return (v - m.low) / (m.high - m.low)
}

func (b *binLight) says() string {
	says := "mean " + number(b.mean)
	if !math.IsNaN(b.cv) {
		says += ", CV " + phrase.WholePercent(b.cv)
	}
	return says + ", error " + phrase.WholePercent(b.error)
}

func (m lightMap) draw(p pen) {
	p.heading("Light on every position", "mean daily light integral, mol m⁻² d⁻¹")
	for _, g := range m.page {
		b := m.bins[g.Name]
		g.head(p, b.says())
		for _, l := range b.places {
			fill, text := shade(m.share(l.mean))
			border := dashed
			if l.source == account.FromSensor {
				border = solid
			}
			g.cell(p, l.Row, l.Column, fill, text, border, cellNumber(l.mean))
		}
	}
	x := rampKey(p, margin, number(m.low), number(m.high)+" mol m⁻² d⁻¹")
	x = key(p, x, func(x, y, w, h float64) { p.stroke(box(x, y, w, h), solid) }, "measured: a sensor stood there")
	key(p, x, func(x, y, w, h float64) { p.stroke(box(x, y, w, h), dashed) }, "estimated")
}

// cellNumber is a number short enough for a cell.
func cellNumber(v float64) string {
	switch a := math.Abs(v); {
	case a >= 1e5:
		return phrase.Minus(strconv.FormatFloat(v, 'e', 0, 64))
	case a >= 99.95:
		return phrase.Minus(strconv.FormatFloat(v, 'f', 0, 64))
	case a >= 9.995:
		return phrase.Minus(strconv.FormatFloat(v, 'f', 1, 64))
	case a == 0 || a >= 0.01:
		return phrase.Minus(strconv.FormatFloat(v, 'f', 2, 64))
	}
	return phrase.Minus(strconv.FormatFloat(v, 'e', 0, 64))
}

func (m lightMap) alt() string {
	parts := []string{"Grids of the bins' positions with the mean daily light integral of each in mol m⁻² d⁻¹."}
	for _, g := range m.page {
		b := m.bins[g.Name]
		says := fmt.Sprintf("%s: mean %s, from %s to %s", g.Name, number(b.mean), number(b.low), number(b.high))
		if !math.IsNaN(b.cv) {
			says += ", CV " + phrase.WholePercent(b.cv)
		}
		parts = append(parts, says+".")
	}
	return strings.Join(parts, " ")
}

func (m lightMap) table() [][]string {
	rows := [][]string{{"bin", "row", "column", "mean_dli_mol_per_m2_and_day", "days", "source", "relative_error", "filled"}}
	for _, g := range m.page {
		for _, l := range m.bins[g.Name].places {
			rows = append(rows, []string{l.Bin, strconv.Itoa(l.Row), strconv.Itoa(l.Column), exact(l.mean), strconv.Itoa(l.days), l.source.String(), exact(l.error), exact(l.filled)})
		}
	}
	return rows
}
