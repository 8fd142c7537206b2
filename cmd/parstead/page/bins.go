package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"parstead/light"
)

// binLine is a bin in the list that is seen without scrolling: what it got on the
// last whole day, beside what it was meant to get.
type binLine struct {
	Name, Levels string
	Number       int // of its grid on the page
	Yesterday    string
	Percent      string
	Wrong        string // what is wrong with it, in a word or two
	Strip        template.HTML
}

// spread is what a bin's places got on the last whole day.
type spread struct {
	mean, low, high float64
	filled          float64 // share of it that no reading stands behind
	known           bool
}

func yesterdays(b Bin) (s spread) {
	n := 0
	s.low, s.high = math.Inf(1), math.Inf(-1)
	for _, c := range b.Cells {
		if f := c.Yesterday; f.Known {
			x := float64(f.DLI)
			s.mean, s.low, s.high, n = s.mean+x, min(s.low, x), max(s.high, x), n+1
			s.filled += f.Filled
		}
	}
	if s.known = n > 0; s.known {
		s.mean /= float64(n)
		s.filled /= float64(n)
	}
	return s
}

func binLines(s *State) []binLine {
	spreads := make([]spread, len(s.Bins))
	top := 0.0
	for i, b := range s.Bins {
		spreads[i] = yesterdays(b)
		top = max(top, float64(b.TargetDLI))
		if spreads[i].known {
			top = max(top, spreads[i].high)
		}
	}
	lines := make([]binLine, len(s.Bins))
	for i, b := range s.Bins {
		x := spreads[i]
		l := binLine{Name: b.Name, Levels: levelsOnly(b.Levels), Number: i, Yesterday: "–", Percent: "–", Strip: strip(x, float64(b.TargetDLI), top)}
		if x.known {
			l.Yesterday = fmt.Sprintf("%.1f", x.mean)
		}
		if x.known && b.TargetDLI > 0 {
			share := x.mean / float64(b.TargetDLI)
			l.Percent = fmt.Sprintf("%.0f %%", 100*share)
			switch {
			case x.filled > mostlyFilled:
				l.Wrong = "estimated"
			case s.OffTarget > 0 && share < 1-s.OffTarget:
				l.Wrong = "short"
			case s.OffTarget > 0 && share > 1+s.OffTarget:
				l.Wrong = "too much"
			}
		}
		for _, c := range s.Conditions {
			if c.Bin == b.Name && l.Wrong == "" {
				l.Wrong = strings.ReplaceAll(string(c.Kind), "_", " ")
			}
		}
		lines[i] = l
	}
	return lines
}

// levelsOnly are the levels without their treatments' names.
func levelsOnly(levels []Level) string {
	var short []string
	for _, l := range levels {
		short = append(short, l.Level)
	}
	return strings.Join(short, ", ")
}

// strip draws one bin on the scale of all: a line from its darkest to its
// brightest place, a dot at the mean, an upright where the target is.
func strip(x spread, target, top float64) template.HTML {
	if !x.known || top <= 0 {
		return ""
	}
	at := func(v float64) string { return px(2+96*v/top) + "%" }
	var b strings.Builder
	b.WriteString(`<svg class="strip" height="20" aria-hidden="true"><line class="axis" x1="0" x2="100%" y1="10" y2="10"/>`)
	fmt.Fprintf(&b, `<line class="spread" x1="%s" x2="%s" y1="10" y2="10"/>`, at(x.low), at(x.high))
	if target > 0 {
		fmt.Fprintf(&b, `<line class="meant" x1="%[1]s" x2="%[1]s" y1="1" y2="19"/>`, at(target))
	}
	fmt.Fprintf(&b, `<circle class="mean" cx="%s" cy="10" r="5"/></svg>`, at(x.mean))
	return template.HTML(b.String()) //nolint:gosec // made of numbers alone
}

// grid is a bin with its places as the page prints them.
type grid struct {
	Bin
	Lines   []gridLine
	Got     string // on the last whole day
	Today   string
	Trust   string // how well it is known
	Chart   template.HTML
	Events  []happened
	Crowded bool // more columns than a phone shows in the size of the text
}

type gridLine struct {
	Number int
	Cells  []gridCell
}

type gridCell struct {
	Cell
	Row, Column int
	Path        string
	Shade       int // 0 (darkest place of the rack) to 9
}

// crowded is the number of columns beyond which figures are printed smaller.
const crowded = 9

func newGrid(b Bin, line binLine, top float64) grid {
	g := grid{Bin: b, Crowded: b.Columns > crowded}
	today, n := 0.0, 0
	errs, measured := 0.0, 0
	for r := 1; r <= b.Rows; r++ {
		row := gridLine{Number: r}
		for c := 1; c <= b.Columns; c++ {
			at := light.Position{Bin: b.Name, Row: r, Column: c}
			cell := b.Cells[b.Index(at)]
			shade := 0
			if f := cell.shown(); f.Known && top > 0 {
				shade = min(9, int(10*float64(f.DLI)/top))
			}
			if cell.Today.Known {
				today, n = today+float64(cell.Today.DLI), n+1
			}
			if f := cell.shown(); f.Known {
				errs, measured = errs+f.Error, measured+1
			}
			row.Cells = append(row.Cells, gridCell{cell, r, c, placePath(at), shade})
		}
		g.Lines = append(g.Lines, row)
	}
	g.Got = gotWords(b, line)
	g.Today = todayWords(b, today, n)
	if measured > 0 {
		g.Trust = fmt.Sprintf("each place ± %.0f %%; ", 100*errs/float64(measured))
	}
	g.Trust += fmt.Sprintf("readings cover %.0f %% of today", 100*b.Coverage)
	if b.Map != "" {
		g.Trust += "; " + b.Map
	}
	if b.Season != nil {
		g.Chart, g.Events = b.Season.Chart(), b.Season.Happenings()
	}
	return g
}

func gotWords(b Bin, line binLine) string {
	x := yesterdays(b)
	if !x.known {
		return "Yesterday is not known."
	}
	text := fmt.Sprintf("%.2f yesterday", x.mean)
	if b.TargetDLI > 0 {
		text = fmt.Sprintf("%.2f of %.2f yesterday", x.mean, float64(b.TargetDLI))
	}
	if line.Wrong != "" {
		text += ": " + line.Wrong
	}
	return text
}

func todayWords(b Bin, sum float64, n int) string {
	if n == 0 {
		return "Light not known yet today."
	}
	text := fmt.Sprintf("today %.2f", sum/float64(n))
	if b.HasDue {
		text += fmt.Sprintf(" of %.2f due", float64(b.Due))
	}
	return text
}
