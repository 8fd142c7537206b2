package report

import (
	"bytes"
	"fmt"
	"html"
	"image/color"
	"math"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// drawing is a canvas that writes SVG. Every text keeps the width that it was laid
// out with, whatever font a reader has.
type drawing struct {
	out    bytes.Buffer
	color  color.Color
	width  vg.Length
	dashes []vg.Length
	groups []int  // open since each Push
	page   bool   // tints are the page's variables, with their colours to fall back on
	says   string // what the next path stands for
}

// Says names what the next path stands for.
func (d *drawing) Says(text string) { d.says = text }

// newDrawing begins with the element's head, for a page or a file of its own; the origin is the lower left corner, as
// on every canvas of vg.
func newDrawing(head string, page bool) *drawing {
	d := &drawing{groups: []int{0}, page: page}
	d.out.WriteString(head)
	d.group("scale(1, -1) translate(0, -%d)", height)
	return d
}

// end closes what is open.
func (d *drawing) end() []byte {
	d.Pop()
	d.out.WriteString("</svg>\n")
	return d.out.Bytes()
}

func (d *drawing) group(transform string, args ...any) {
	fmt.Fprintf(&d.out, "<g transform=\""+transform+"\">\n", args...)
	d.groups[len(d.groups)-1]++
}

func (d *drawing) SetColor(c color.Color)                      { d.color = c }
func (d *drawing) SetLineWidth(w vg.Length)                    { d.width = w }
func (d *drawing) SetLineDash(dashes []vg.Length, _ vg.Length) { d.dashes = dashes }
func (d *drawing) Push()                                       { d.groups = append(d.groups, 0) }
func (d *drawing) Translate(by vg.Point)                       { d.group("translate(%.5g, %.5g)", by.X, by.Y) }

func (d *drawing) Rotate(angle float64) { d.group("rotate(%g)", angle*180/math.Pi) }

// Pop closes the groups since the last Push.
func (d *drawing) Pop() {
	last := len(d.groups) - 1
	d.out.WriteString(strings.Repeat("</g>\n", d.groups[last]))
	d.groups = d.groups[:last]
}

// Stroke draws along a path.
func (d *drawing) Stroke(path vg.Path) {
	style := "fill:none;" + d.paint("stroke")
	if d.width != 1 {
		style += fmt.Sprintf(";stroke-width:%.5g", d.width)
	}
	if len(d.dashes) > 0 {
		var dashes []string
		for _, dash := range d.dashes {
			dashes = append(dashes, fmt.Sprintf("%.5g", dash))
		}
		style += ";stroke-dasharray:" + strings.Join(dashes, ",")
	}
	d.path(path, style)
}

// Fill fills a closed path.
func (d *drawing) Fill(path vg.Path) { d.path(path, d.paint("fill")) }

// paint is the colour, and how much it covers, of a path's outline or inside.
func (d *drawing) paint(what string) string {
	r, g, b, a := d.color.RGBA()
	part := func(c uint32) int { return int(float64(c) * (255 / float64(a))) }
	of := fmt.Sprintf("#%02X%02X%02X", part(r), part(g), part(b))
	if t, ok := d.color.(tint); ok && d.page {
		of = "var(--" + t.name + "," + of + ")"
	}
	style := what + ":" + of
	if a < math.MaxUint16 {
		style += fmt.Sprintf(";%s-opacity:%.5g", what, float64(a)/math.MaxUint16)
	}
	return style
}

// path writes a path of straight lines and whole circles, which are all that pens
// draw. A circle is two halves: an arc may not end where it begins.
func (d *drawing) path(path vg.Path, style string) {
	d.out.WriteString(`<path d="`)
	for _, part := range path {
		x, y, r := float64(part.Pos.X), float64(part.Pos.Y), float64(part.Radius)
		switch part.Type {
		case vg.MoveComp:
			fmt.Fprintf(&d.out, "M%.5g,%.5g", x, y)
		case vg.LineComp:
			fmt.Fprintf(&d.out, "L%.5g,%.5g", x, y)
		case vg.ArcComp:
			fmt.Fprintf(&d.out, "A%.5[1]g,%.5[1]g 0 1 1 %.5[2]g,%.5[4]gA%.5[1]g,%.5[1]g 0 1 1 %.5[3]g,%.5[4]g", r, x-r, x+r, y)
		case vg.CloseComp:
			d.out.WriteByte('Z')
		default:
			panic("report: a path bends as no pen draws")
		}
	}
	if d.says == "" {
		fmt.Fprintf(&d.out, "\" style=\"%s\" />\n", style)
		return
	}
	fmt.Fprintf(&d.out, "\" style=\"%s\"><title>%s</title></path>\n", style, html.EscapeString(d.says))
	d.says = ""
}

// FillString writes a text from a point on, with fonts to fall back on.
func (d *drawing) FillString(f font.Face, at vg.Point, text string) {
	weight := ""
	if f.Font.Weight > 0 {
		weight = ";font-weight:bold"
	}
	fmt.Fprintf(&d.out, `<text x="%.5g" y="%.5g" xml:space="preserve" transform="scale(1,-1)" textLength="%.1f" lengthAdjust="spacingAndGlyphs" style="font-family:Liberation Sans,Arial,Helvetica,sans-serif%s;font-size:%.5gpx;%s">%s</text>`+"\n",
		at.X, -at.Y, f.Width(text), weight, f.Font.Size, d.paint("fill"), html.EscapeString(text))
}
