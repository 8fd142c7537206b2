package page

import (
	"fmt"
	"html/template"
	"math"
	"strconv"
	"strings"
	"time"

	"parstead/light"
)

// The chart's measures, in pixels of a bin's column; it grows with the column.
const (
	chartWide   = 340.0
	chartHigh   = 84.0
	chartLeft   = 30.0
	chartRight  = 6.0
	chartTop    = 16.0 // room for the numbers of events
	chartBottom = 18.0 // room for the months
	numberWide  = 9.0  // two numbers nearer than that would touch
	fewDays     = 45   // a trial of at most so many has its weeks marked, not its months
	mostMarks   = 20   // of estimated days; where there are more, the line says it
)

// chart is a season as a picture: a line a day, over the whole trial, so that the
// days to come are seen too. It is plain SVG whose looks are in the style sheet.
type chart struct {
	starts, ends light.Date
	target       float64 // 0: none
	points       []point // by day from the start
	events       []happened
	moves        []int // days on which the plant changed place
}

// point is one day of a chart.
type point struct {
	known            bool
	value, low, high float64
	estimated        bool
}

func newChart(s *Season) *chart {
	return &chart{starts: s.Starts, ends: s.Ends, events: s.Happenings()}
}

// add puts a day's point at its place; days that were left out are not known.
func (c *chart) add(day int, p point) {
	for len(c.points) < day {
		c.points = append(c.points, point{})
	}
	c.points = append(c.points, p)
}

func (c *chart) days() int { return c.starts.DaysUntil(c.ends) + 1 }

// x is the middle of a day.
func (c *chart) x(day int) float64 {
	return chartLeft + (float64(day)+0.5)*(chartWide-chartLeft-chartRight)/float64(c.days())
}

// top is the largest value on the scale.
func (c *chart) top() float64 {
	top := c.target
	for _, p := range c.points {
		if p.known {
			top = max(top, p.high)
		}
	}
	return max(1.05*top, 1e-3)
}

// svg draws the chart. What is in it as text is said too, in words, to those who
// can't see it.
func (c *chart) svg(title string) template.HTML {
	top := c.top()
	y := func(v float64) float64 { return chartTop + (1-v/top)*(chartHigh-chartTop-chartBottom) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="season" viewBox="0 0 %g %g" role="img" aria-label="%s">`, chartWide, chartHigh, template.HTMLEscapeString(title+": "+c.words()))
	c.short(&b, y)
	c.band(&b, y)
	fmt.Fprintf(&b, `<path class="axis" d="M%g %sH%g"/>`, chartLeft, px(y(0)), chartWide-chartRight)
	c.scale(&b, y, top)
	c.dates(&b, y(0))
	c.line(&b, y)
	c.marks(&b)
	b.WriteString("</svg>")
	return template.HTML(b.String()) //nolint:gosec // made of numbers and escaped text
}

// px is a length as short as the eye needs it.
func px(v float64) string { return strconv.FormatFloat(math.Round(v*10)/10, 'f', -1, 64) }

// short shades what is wanting up to the target.
func (c *chart) short(b *strings.Builder, y func(float64) float64) {
	if c.target == 0 {
		return
	}
	half := (c.x(1) - c.x(0)) / 2
	var d strings.Builder
	for i, p := range c.points {
		if p.known && p.value < c.target {
			fmt.Fprintf(&d, "M%s %sH%sV%sH%sZ", px(c.x(i)-half), px(y(c.target)), px(c.x(i)+half), px(y(p.value)), px(c.x(i)-half))
		}
	}
	if d.Len() > 0 {
		fmt.Fprintf(b, `<path class="short" d="%s"/>`, d.String())
	}
}

// band is how far each day may be wrong.
func (c *chart) band(b *strings.Builder, y func(float64) float64) {
	var d strings.Builder
	half := (c.x(1) - c.x(0)) / 2
	for i, p := range c.points {
		if p.known && p.high > p.low {
			fmt.Fprintf(&d, "M%s %sH%sV%sH%sZ", px(c.x(i)-half), px(y(p.high)), px(c.x(i)+half), px(y(max(p.low, 0))), px(c.x(i)-half))
		}
	}
	if d.Len() > 0 {
		fmt.Fprintf(b, `<path class="band" d="%s"/>`, d.String())
	}
}

// scale writes what the heights mean.
func (c *chart) scale(b *strings.Builder, y func(float64) float64, top float64) {
	label := func(v float64, text, class string) {
		fmt.Fprintf(b, `<text class="%s" x="%g" y="%s" text-anchor="end">%s</text>`, class, chartLeft-4, px(y(v)+4), text)
	}
	label(0, "0", "small")
	if c.target > 0 {
		fmt.Fprintf(b, `<path class="target" d="M%g %sH%g"/>`, chartLeft, px(y(c.target)), chartWide-chartRight)
		label(c.target, fmt.Sprintf("%.1f", c.target), "strong")
		return
	}
	label(top/1.05, fmt.Sprintf("%.1f", top/1.05), "small")
}

// dates writes the months, or the weeks of a short trial, and where the known
// days end.
func (c *chart) dates(b *strings.Builder, base float64) {
	far := math.Inf(-1)
	for i := range c.days() {
		d := c.starts.Add(i)
		text := ""
		switch {
		case c.days() <= fewDays && i%7 == 0:
			text = fmt.Sprintf("%d %s", d.Day, d.Month.String()[:3])
		case c.days() > fewDays && d.Day == 1:
			text = d.Month.String()[:3]
		}
		if x := c.x(i); text != "" && x-far > 6*float64(len(text)) && x < chartWide-24 {
			fmt.Fprintf(b, `<path class="axis" d="M%s %sv3"/><text class="small" x="%s" y="%s">%s</text>`, px(x), px(base), px(x+1), px(base+13), text)
			far = x
		}
	}
	if n := len(c.points); n > 0 && n < c.days() {
		fmt.Fprintf(b, `<path class="now" d="M%s %sv6"/>`, px(c.x(n-1)), px(base-3))
	}
}

// line is the line itself, broken where nothing is known, and the marks of days
// that are mostly estimated.
func (c *chart) line(b *strings.Builder, y func(float64) float64) {
	var d strings.Builder
	var marks []string
	pen := "M"
	for i, p := range c.points {
		if !p.known {
			pen = "M"
			continue
		}
		fmt.Fprintf(&d, "%s%s %s", pen, px(c.x(i)), px(y(p.value)))
		if pen == "M" { // a day alone is seen too
			d.WriteString("h.1")
		}
		pen = "L"
		if p.estimated {
			marks = append(marks, fmt.Sprintf(`<circle class="estimated" cx="%s" cy="%s" r="2"/>`, px(c.x(i)), px(y(p.value))))
		}
	}
	class := "line"
	if len(marks) > mostMarks {
		class, marks = "line guessed", nil
	}
	fmt.Fprintf(b, `<path class="%s" d="%s"/>%s`, class, d.String(), strings.Join(marks, ""))
}

// marks numbers the events over the line.
func (c *chart) marks(b *strings.Builder) {
	far := math.Inf(-1)
	for _, e := range c.events {
		x := c.x(c.starts.DaysUntil(e.Date))
		fmt.Fprintf(b, `<path class="axis" d="M%s %gv4"/>`, px(x), chartTop-4)
		if x-far >= numberWide {
			fmt.Fprintf(b, `<text class="small" x="%s" y="%g" text-anchor="middle">%d</text>`, px(x), chartTop-6, e.Number)
			far = x
		}
	}
	for _, day := range c.moves {
		fmt.Fprintf(b, `<path class="now" d="M%s %gV%g"/>`, px(c.x(day)), chartTop, chartHigh-chartBottom)
	}
}

// words says the chart in a sentence.
func (c *chart) words() string {
	low, high, known, short := math.Inf(1), math.Inf(-1), 0, 0
	for _, p := range c.points {
		if p.known {
			known++
			low, high = min(low, p.value), max(high, p.value)
			if c.target > 0 && p.value < c.target {
				short++
			}
		}
	}
	if known == 0 {
		return "nothing is known of it yet"
	}
	text := fmt.Sprintf("%s known, %.1f to %.1f mol m⁻² a day", count(known, "day"), low, high)
	if c.target > 0 {
		text += fmt.Sprintf("; %.1f is meant, %s below it", c.target, count(short, "day"))
	}
	return text
}

// shortDate is a date as a log of one season needs it.
func shortDate(d light.Date) string { return fmt.Sprintf("%d %s", d.Day, d.Month.String()[:3]) }

// dayAndHour is a moment of a season.
func dayAndHour(t time.Time) string { return t.Format("2 Jan 15:04") }
