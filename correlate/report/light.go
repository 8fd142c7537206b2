package report

import (
	"cmp"
	"fmt"
	"image/color"
	"math"
	"slices"
	"strings"

	"parstead/correlate"

	"parstead/correlate/phrase"
)

// The plot of a picture with one pair of axes, with a key at its right.
const (
	plotLeft   = 190.0
	plotRight  = 1500.0
	plotTop    = 160.0
	plotBottom = 930.0
)

// lightPoint is one plant with its light.
type lightPoint struct {
	row          int // of the input
	bin          int // index into the bins of the key
	light, value float64
}

// lights draw an outcome against light, with the fitted curve over the light that
// was measured.
func (r *Report) lights(names fileNames, o *outcome) []picture {
	d := lightPicture{o: o, light: r.Input.Light}
	if d.light == nil {
		return nil
	}
	for _, p := range o.Points {
		if bin := level(r.Input.Bin, p.Row); !math.IsNaN(p.Light) && !slices.Contains(d.bins, bin) {
			d.bins = append(d.bins, bin)
		}
	}
	slices.SortFunc(d.bins, func(a, b string) int { return cmp.Compare(rank(r.Input.Bin, a), rank(r.Input.Bin, b)) })
	for _, p := range o.Points {
		if !math.IsNaN(p.Light) {
			d.points = append(d.points, lightPoint{p.Row, slices.Index(d.bins, level(r.Input.Bin, p.Row)), p.Light, p.Value})
		}
	}
	if len(d.points) == 0 {
		return nil
	}
	return []picture{{
		file: o.file(names, "light"), title: o.title() + " and light", of: o.index,
		caption: d.caption(), alt: d.alt(), table: d.table(), draw: d.draw, main: true,
	}}
}

// rank is a level's place among its factor's; a blank comes last.
func rank(f *correlate.Factor, level string) int {
	if f == nil || !slices.Contains(f.Levels, level) {
		return math.MaxInt
	}
	return slices.Index(f.Levels, level)
}

type lightPicture struct {
	o      *outcome
	light  *correlate.Light
	bins   []string
	points []lightPoint
}

func (d lightPicture) draw(p pen) {
	sub := "a mark a plant"
	if d.o.Curve != nil {
		sub += "; curve (" + curveWords(d.o.Curve) + ") with its 95 % band, over measured light only"
	}
	p.heading(d.o.title()+" and light", sub)
	var xs, band []float64
	var plants []int
	for _, q := range d.points {
		xs, plants = append(xs, q.light), append(plants, q.row)
	}
	if c := d.o.Curve; c != nil {
		band = slices.Concat(c.Low, c.High)
	}
	to := plotRight
	if len(d.bins) < 2 {
		to = width - margin
	}
	x := axisOver(false, xs...).between(plotLeft, to)
	y := d.o.axis(plants, band...).between(plotBottom, plotTop)
	x.below(p, plotTop, plotBottom, smallSize)
	x.label(p, plotBottom, d.lightWords())
	y.beside(p, plotLeft, to, smallSize)
	p.upward(70, (plotTop+plotBottom)/2, labelSize, ink, fitted(d.o.measured(), labelSize, false, plotBottom-plotTop))
	if c := d.o.Curve; c != nil {
		d.curve(p, x, y, c)
	}
	for i, q := range d.points {
		p.plant(d.o.plantWords(q.row))
		p.mark(markShape(q.bin), x.at(q.light), y.at(d.o.drawn(q.row, i)), 8, markColor(q.bin))
	}
	if len(d.bins) < 2 {
		return
	}
	const least = 30.0
	pitch := max(least, min(46, (plotBottom-plotTop)/float64(len(d.bins))))
	for i, bin := range d.bins {
		y := plotTop + 20 + pitch*float64(i)
		if y > plotBottom {
			p.text(plotRight+50, y, smallSize, left, false, grey, fmt.Sprintf("and %d more", len(d.bins)-i))
			break
		}
		if bin == "" {
			bin = "no bin"
		}
		p.mark(markShape(i), plotRight+60, y-9, 10, markColor(i))
		p.text(plotRight+84, y, smallSize, left, false, ink, fitted(bin, smallSize, false, width-plotRight-84-20))
	}
}

// curve draws a fitted curve with its band.
func (d lightPicture) curve(p pen, x, y axis, c *correlate.CurveBand) {
	var around, along [][2]float64
	for i := range c.Light {
		along = append(along, [2]float64{x.at(c.Light[i]), y.at(c.Value[i])})
		around = append(around, [2]float64{x.at(c.Light[i]), y.at(c.Low[i])})
	}
	for i, light := range slices.Backward(c.Light) {
		around = append(around, [2]float64{x.at(light), y.at(c.High[i])})
	}
	p.fill(through(true, around...), band)
	p.stroke(through(false, along...), line{ink, 4, nil})
}

// markShape is a bin's mark: every second one is open, of the outline of the one before.
func markShape(bin int) int { return bin/2%shapes + bin%2*shapes }

// marks are the colours of bins' marks, unlike in lightness too, for pictures in grey:
// each for two bins, of which one is open.
var marks = [...]tint{
	{color.NRGBA{11, 94, 84, 215}, "hue"},
	{color.NRGBA{178, 98, 6, 215}, "second"},
	{color.NRGBA{74, 68, 160, 215}, "third"},
}

func markColor(bin int) color.Color { return marks[bin/2%len(marks)] }

func (d lightPicture) lightWords() string {
	words := d.light.Name
	if d.light.ByWindow != "" {
		words = "mean daily light integral " + d.light.ByWindow
	}
	return unit(words, d.light.Unit)
}

func (d lightPicture) caption() string {
	says := "Every plant that was analysed by the light it got"
	if len(d.bins) > 1 {
		says += ", with a mark for each bin: two bins share an outline, full and open"
	}
	says += "."
	if d.o.log() {
		says += " The outcome's axis is logarithmic, as the analysis is."
	}
	c := d.o.Curve
	if c == nil {
		return says + " No curve was fitted to it."
	}
	says += fmt.Sprintf(" The curve (%s) is what a plant that is average in all else would reach at each light; the band around it holds that with 95 %%: where it is narrow the curve is sure. Single plants lie farther off. Both end where measured light ends.", curveWords(c))
	if others := d.alike(); len(others) > 0 {
		says += " About as well fit: " + strings.Join(others, ", ") + "."
	}
	return says + " Positions were not given their light at random: heat, air and edge may travel with it."
}

// curveWords says what a curve is like.
func curveWords(c *correlate.CurveBand) string {
	if c.Times {
		return "the same factor for each step of light"
	}
	return c.Shape
}

// alike are the other shapes within 2 of the best one's AICc.
func (d lightPicture) alike() []string {
	if d.o.Light == nil {
		return nil
	}
	best := math.Inf(1)
	for _, c := range d.o.Light.Curve {
		if c.AICc != nil {
			best = min(best, *c.AICc)
		}
	}
	var names []string
	for _, c := range d.o.Light.Curve {
		if c.AICc != nil && *c.AICc <= best+2 && c.Shape != d.o.Curve.Shape {
			names = append(names, c.Shape)
		}
	}
	return names
}

func (d lightPicture) alt() string {
	low, high := math.Inf(1), math.Inf(-1)
	for _, q := range d.points {
		low, high = min(low, q.light), max(high, q.light)
	}
	says := fmt.Sprintf("Scatter of %s against light for %s, light from %s to %s.", d.o.title(), count(len(d.points), "plant", "plants"), number(low), phrase.Unit(number(high), d.light.Unit))
	if c := d.o.Curve; c != nil {
		last := len(c.Light) - 1
		says += fmt.Sprintf(" The curve goes from %s (%s to %s) to %s (%s to %s).", number(c.Value[0]), number(c.Low[0]), number(c.High[0]),
			phrase.Unit(number(c.Value[last]), d.o.Unit), number(c.Low[last]), number(c.High[last]))
	}
	return says
}

func (d lightPicture) table() [][]string {
	rows := [][]string{{"what", "plant", "bin", "light", d.o.Name, "low", "high"}}
	for _, q := range d.points {
		rows = append(rows, []string{"plant", d.o.codes[q.row], d.bins[q.bin], exact(q.light), exact(q.value), "", ""})
	}
	if c := d.o.Curve; c != nil {
		for i := range c.Light {
			rows = append(rows, []string{c.Shape, "", "", exact(c.Light[i]), exact(c.Value[i]), exact(c.Low[i]), exact(c.High[i])})
		}
	}
	return rows
}
