package report

import (
	"image/color"
	"math"
	"sync"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
)

// A picture's size in its own units, which are pixels of its PNG.
const (
	width  = 1920
	height = 1080
	margin = 60
)

// Sizes of text, for a projector at 1920 × 1080 and for a page of A4 paper.
const (
	titleSize = 40
	labelSize = 28
	smallSize = 24
)

// tint is a colour that a dark page has another for, under its name.
type tint struct {
	color.NRGBA
	name string
}

var (
	paper = tint{color.NRGBA{255, 255, 255, 255}, "paper"}
	ink   = tint{color.NRGBA{26, 33, 31, 255}, "ink"}
	grey  = tint{color.NRGBA{96, 106, 102, 255}, "grey"}
	faint = tint{color.NRGBA{214, 220, 217, 255}, "faint"}
	haze  = tint{color.NRGBA{238, 241, 240, 255}, "haze"}
	hue   = tint{color.NRGBA{11, 94, 84, 255}, "hue"}
	dots  = tint{color.NRGBA{11, 94, 84, 110}, "hue"}
	band  = tint{color.NRGBA{11, 94, 84, 45}, "hue"}
)

// shade is the one-hue scale from pale (0) to dark (1): it carries its meaning by
// lightness alone. The second colour is one for text on it.
func shade(share float64) (fill, text color.Color) {
	stops := [...][3]float64{{243, 249, 246}, {118, 178, 165}, {9, 72, 66}}
	at := max(0, min(1, share)) * float64(len(stops)-1)
	i := min(int(at), len(stops)-2)
	mix := func(c int) uint8 { return uint8(math.Round(stops[i][c] + (at-float64(i))*(stops[i+1][c]-stops[i][c]))) }
	fill = color.NRGBA{mix(0), mix(1), mix(2), 255}
	if share > 0.62 {
		return fill, paper.NRGBA
	}
	return fill, ink.NRGBA
}

var fonts = sync.OnceValue(func() *font.Cache { return font.NewCache(liberation.Collection()) })

func face(size float64, bold bool) font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return fonts().Lookup(f, vg.Length(size))
}

// run is a part of a text that is written at one height.
type run struct {
	text   string
	raised bool
}

// raisedRunes are superscripts, of which the font has only some: units are
// written with small raised figures instead.
var raisedRunes = map[rune]rune{
	'⁻': '−', '⁺': '+', '⁰': '0', '¹': '1', '²': '2', '³': '3', '⁴': '4', '⁵': '5', '⁶': '6', '⁷': '7', '⁸': '8', '⁹': '9',
}

const raisedSize = 0.66 // of the text's size

// runs cuts a text where its height changes.
func runs(s string) []run {
	var list []run
	for _, r := range s {
		plain, raised := raisedRunes[r]
		if !raised {
			plain = r
		}
		if n := len(list); n > 0 && list[n-1].raised == raised {
			list[n-1].text += string(plain)
			continue
		}
		list = append(list, run{string(plain), raised})
	}
	return list
}

func (r run) face(size float64, bold bool) font.Face {
	if r.raised {
		size *= raisedSize
	}
	return face(size, bold)
}

func textWidth(s string, size float64, bold bool) float64 {
	w := 0.0
	for _, r := range runs(s) {
		f := r.face(size, bold)
		w += float64(f.Width(r.text))
	}
	return w
}

// fitted shortens a text that is wider than there is room.
func fitted(s string, size float64, bold bool, room float64) string {
	if textWidth(s, size, bold) <= room {
		return s
	}
	runes := []rune(s)
	for n := len(runes) - 1; n > 0; n-- {
		if short := string(runes[:n]) + "…"; textWidth(short, size, bold) <= room {
			return short
		}
	}
	return "…"
}

// canvas is what pens need of a vg.Canvas.
type canvas interface {
	SetColor(c color.Color)
	SetLineWidth(w vg.Length)
	SetLineDash(dashes []vg.Length, offset vg.Length)
	Stroke(path vg.Path)
	Fill(path vg.Path)
	FillString(f font.Face, at vg.Point, text string)
	Push()
	Translate(by vg.Point)
	Rotate(angle float64)
	Pop()
}

// pen draws on any canvas, in pixels from the upper left corner.
type pen struct{ c canvas }

// plant tells a canvas that can keep it which plant the next shape stands for.
func (p pen) plant(says string) {
	if c, ok := p.c.(interface{ Says(text string) }); ok {
		c.Says(says)
	}
}

// line is how something is drawn: a stroke of a colour, width and dashes.
type line struct {
	color color.Color
	width float64
	dash  []vg.Length
}

var (
	solid  = line{ink, 2.5, nil}
	dashed = line{grey, 1.5, []vg.Length{5, 4}}
	rule   = line{faint, 1.5, nil}
)

func at(x, y float64) vg.Point { return vg.Point{X: vg.Length(x), Y: vg.Length(height - y)} }

func (p pen) stroke(path vg.Path, l line) {
	p.c.SetColor(l.color)
	p.c.SetLineWidth(vg.Length(l.width))
	p.c.SetLineDash(l.dash, 0)
	p.c.Stroke(path)
}

func (p pen) fill(path vg.Path, c color.Color) {
	p.c.SetColor(c)
	p.c.Fill(path)
}

func through(closed bool, points ...[2]float64) vg.Path {
	var path vg.Path
	for i, q := range points {
		if i == 0 {
			path.Move(at(q[0], q[1]))
			continue
		}
		path.Line(at(q[0], q[1]))
	}
	if closed {
		path.Close()
	}
	return path
}

func box(x, y, w, h float64) vg.Path {
	return through(true, [2]float64{x, y}, [2]float64{x + w, y}, [2]float64{x + w, y + h}, [2]float64{x, y + h})
}

func disc(x, y, r float64) vg.Path {
	var path vg.Path
	path.Move(at(x+r, y))
	path.Arc(at(x, y), vg.Length(r), 0, 2*math.Pi)
	path.Close()
	return path
}

func (p pen) segment(x1, y1, x2, y2 float64, l line) {
	p.stroke(through(false, [2]float64{x1, y1}, [2]float64{x2, y2}), l)
}

// mark draws one of several shapes; from the eighth on they are hollow.
func (p pen) mark(shape int, x, y, r float64, c color.Color) {
	var path vg.Path
	switch shape % shapes {
	case 0:
		path = disc(x, y, r)
	case 1:
		path = box(x-r*0.88, y-r*0.88, r*1.76, r*1.76)
	case 2:
		path = through(true, [2]float64{x, y - r*1.2}, [2]float64{x + r*1.1, y + r*0.8}, [2]float64{x - r*1.1, y + r*0.8})
	case 3:
		path = through(true, [2]float64{x, y - r*1.3}, [2]float64{x + r*1.3, y}, [2]float64{x, y + r*1.3}, [2]float64{x - r*1.3, y})
	case 4:
		path = through(true, [2]float64{x, y + r*1.2}, [2]float64{x + r*1.1, y - r*0.8}, [2]float64{x - r*1.1, y - r*0.8})
	case 5:
		p.segment(x-r, y-r, x+r, y+r, line{c, 3, nil})
		p.segment(x-r, y+r, x+r, y-r, line{c, 3, nil})
		return
	default:
		p.segment(x-r*1.2, y, x+r*1.2, y, line{c, 3, nil})
		p.segment(x, y-r*1.2, x, y+r*1.2, line{c, 3, nil})
		return
	}
	if shape/shapes%2 == 1 {
		p.stroke(path, line{c, 2.5, nil})
		return
	}
	p.fill(path, c)
}

// shapes is how many marks differ in outline.
const shapes = 7

// Where a text's given point is.
const (
	left   = 0.0
	middle = 0.5
	right  = 1.0
)

// text writes on a baseline at y.
func (p pen) text(x, y, size float64, anchor float64, bold bool, c color.Color, s string) {
	if anchor != left {
		x -= anchor * textWidth(s, size, bold)
	}
	p.write(at(x, y), size, bold, c, s)
}

func (p pen) write(from vg.Point, size float64, bold bool, c color.Color, s string) {
	p.c.SetColor(c)
	for _, r := range runs(s) {
		f, to := r.face(size, bold), from
		if r.raised {
			to.Y += vg.Length(0.34 * size)
		}
		p.c.FillString(f, to, r.text)
		from.X += f.Width(r.text)
	}
}

// upward writes along a vertical axis, from below to above, centred at y.
func (p pen) upward(x, y, size float64, c color.Color, s string) {
	p.c.Push()
	p.c.Translate(at(x, y))
	p.c.Rotate(math.Pi / 2)
	p.write(vg.Point{X: vg.Length(-textWidth(s, size, false) / 2)}, size, false, c, s)
	p.c.Pop()
}

// heading writes the picture's title and what it shows.
func (p pen) heading(title, sub string) {
	p.text(margin, 72, titleSize, left, true, ink, fitted(title, titleSize, true, width-2*margin))
	p.text(margin, 116, labelSize, left, false, grey, fitted(sub, labelSize, false, width-2*margin))
}
