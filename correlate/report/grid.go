package report

import (
	"fmt"
	"image/color"
	"math"

	"parstead/light"
)

// grid is a bin's grid of cells on a picture.
type grid struct {
	light.Bin
	x, y       float64 // upper left corner of the cells
	cellWidth  float64
	cellHeight float64
}

const (
	gridTop    = 140.0 // below the heading
	gridBottom = 950.0 // above the key
	gridHead   = 92.0  // bin's name, what is said of it, numbers of columns
	gridSide   = 44.0  // numbers of rows
	leastCell  = 46.0
)

// grids lays bins out over as many pictures as their cells need to stay readable,
// in the order of the rack.
func grids(bins []light.Bin) [][]grid {
	if len(bins) == 0 {
		return nil
	}
	for pages := 1; ; pages++ {
		each := (len(bins) + pages - 1) / pages
		var list [][]grid
		least := math.Inf(1)
		for from := 0; from < len(bins); from += each {
			page := onePage(bins[from:min(len(bins), from+each)])
			list = append(list, page)
			for _, g := range page {
				least = min(least, g.cellWidth, 1.3*g.cellHeight)
			}
		}
		if least >= leastCell || each == 1 {
			return list
		}
	}
}

// onePage lays bins out side by side and in rows, so that their cells are as
// large as can be.
func onePage(bins []light.Bin) []grid {
	best, bestSize := []grid(nil), -1.0
	for across := 1; across <= len(bins); across++ {
		down := (len(bins) + across - 1) / across
		w := (width - 2*margin) / float64(across)
		h := (gridBottom - gridTop) / float64(down)
		cw, ch := 200.0, 130.0 // larger cells say no more
		for _, b := range bins {
			cw = min(cw, (w-gridSide-16)/float64(max(1, b.Columns)))
			ch = min(ch, (h-gridHead-14)/float64(max(1, b.Rows)))
		}
		cw, ch = min(cw, 1.8*ch), min(ch, 1.2*cw)
		if size := min(cw/1.3, ch); size > bestSize {
			bestSize, best = size, nil
			for i, b := range bins {
				best = append(best, grid{b, margin + float64(i%across)*w + gridSide, gridTop + float64(i/across)*h + gridHead, cw, ch})
			}
		}
	}
	return best
}

// corner is the upper left corner of a cell.
func (g grid) corner(row, column int) (x, y float64) {
	return g.x + float64(column-1)*g.cellWidth, g.y + float64(row-1)*g.cellHeight
}

// size is that of the text in cells.
func (g grid) size() float64 { return max(13, min(30, 0.4*g.cellWidth, 0.6*g.cellHeight)) }

// head writes the bin's name, what is said of it, and numbers rows and columns.
func (g grid) head(p pen, says string) {
	room := max(float64(g.Columns)*g.cellWidth, 260)
	p.text(g.x, g.y-58, labelSize, left, true, ink, fitted(g.Name, labelSize, true, room))
	p.text(g.x, g.y-30, 22, left, false, grey, fitted(says, 22, false, room))
	for c := 1; c <= g.Columns; c++ {
		x, y := g.corner(1, c)
		p.text(x+g.cellWidth/2, y-6, 18, middle, false, grey, fmt.Sprint(c))
	}
	for r := 1; r <= g.Rows; r++ {
		x, y := g.corner(r, 1)
		p.text(x-8, y+g.cellHeight/2+6, 18, right, false, grey, fmt.Sprint(r))
	}
}

// cell fills a cell and writes into it.
func (g grid) cell(p pen, row, column int, fill, text color.Color, border line, says string) {
	x, y := g.corner(row, column)
	const gap = 2.5
	path := box(x+gap, y+gap, g.cellWidth-2*gap, g.cellHeight-2*gap)
	p.fill(path, fill)
	p.stroke(path, border)
	if says == "" {
		return
	}
	size := g.size()
	for size > 10 && textWidth(says, size, false) > g.cellWidth-8 {
		size--
	}
	p.text(x+g.cellWidth/2, y+g.cellHeight/2+0.36*size, size, middle, false, text, says)
}

// slash crosses a cell out.
func (g grid) slash(p pen, row, column int) {
	x, y := g.corner(row, column)
	p.stroke(box(x+2.5, y+2.5, g.cellWidth-5, g.cellHeight-5), rule)
	p.segment(x+10, y+g.cellHeight-10, x+g.cellWidth-10, y+10, line{grey, 2.5, nil})
}

// rampKey draws the scale of shades with its ends, and returns where it ends.
func rampKey(p pen, x float64, low, high string) float64 {
	const y, w, h = 990.0, 300.0, 34.0
	p.text(x, y+26, smallSize, left, false, ink, low)
	x += textWidth(low, smallSize, false) + 14
	const steps = 30
	for i := range steps {
		fill, _ := shade(float64(i) / (steps - 1))
		p.fill(box(x+float64(i)*w/steps, y, w/steps+0.5, h), fill)
	}
	p.stroke(box(x, y, w, h), line{grey, 1, nil})
	x += w + 14
	p.text(x, y+26, smallSize, left, false, ink, high)
	return x + textWidth(high, smallSize, false) + 60
}

// key draws one entry of the key: a small cell and what it means.
func key(p pen, x float64, draw func(x, y, w, h float64), means string) float64 {
	const y, w, h = 988.0, 48.0, 38.0
	draw(x, y, w, h)
	p.text(x+w+12, y+28, smallSize, left, false, ink, means)
	return x + w + 12 + textWidth(means, smallSize, false) + 50
}
