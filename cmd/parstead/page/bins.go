package page

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"parstead/light"
)

// binLine is a bin in the list that is seen without scrolling: what it got on the
// last whole day, or a day of a season that is over, beside what it was meant to get.
type binLine struct {
	Name, Levels string
	Number       int // of its grid on the page
	Got          string
	Percent      string
	Wrong        string // what is wrong with it, in a word or two
	Strip        template.HTML
}

// Over tells whether the trial's last day is over.
func (s *State) Over() bool { return s.Ends.Before(s.Day) }

// figures are what a bin's places are shown with, by light.Bin.Index: what they got
// yesterday, or a day in the mean of a season that is over.
func (s *State) figures(b Bin) []Figure {
	if s.Over() {
		if b.Season == nil {
			return make([]Figure, len(b.Cells))
		}
		return b.Season.Means()
	}
	list := make([]Figure, len(b.Cells))
	for i, c := range b.Cells {
		list[i] = c.Yesterday
	}
	return list
}

// spread is what a bin's places got.
type spread struct {
	mean, low, high float64
	filled          float64 // share of it that no reading stands behind
	known           bool
}

func spreadOf(list []Figure) (s spread) {
	n := 0
	s.low, s.high = math.Inf(1), math.Inf(-1)
	for _, f := range list {
		if f.Known {
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
		spreads[i] = spreadOf(s.figures(b))
		top = max(top, float64(b.TargetDLI))
		if spreads[i].known {
			top = max(top, spreads[i].high)
		}
	}
	lines := make([]binLine, len(s.Bins))
	for i, b := range s.Bins {
		x := spreads[i]
		l := binLine{Name: b.Name, Levels: levelsOnly(b.Levels), Number: i, Got: "–", Percent: "–", Strip: strip(x, float64(b.TargetDLI), top)}
		if x.known {
			l.Got = fmt.Sprintf("%.1f", x.mean)
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
			if c.Bin == b.Name && l.Wrong == "" && !s.Over() {
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
	Got     string // on the last whole day, or a day of a season that is over
	Today   string // "" once the trial is over
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
	Figure
	Row, Column int
	Path        string
	Shade       int // 0 (darkest place of the rack) to 9
}

// crowded is the number of columns beyond which figures are printed smaller.
const crowded = 9

func newGrid(s *State, b Bin, line binLine, top float64) grid {
	g := grid{Bin: b, Crowded: b.Columns > crowded}
	figures := s.figures(b)
	errs, measured := 0.0, 0
	for r := 1; r <= b.Rows; r++ {
		row := gridLine{Number: r}
		for c := 1; c <= b.Columns; c++ {
			at := light.Position{Bin: b.Name, Row: r, Column: c}
			i := b.Index(at)
			shade := 0
			if f := s.shown(b, figures, i); f.Known {
				errs, measured = errs+f.Error, measured+1
				if top > 0 {
					shade = min(9, int(10*float64(f.DLI)/top))
				}
			}
			row.Cells = append(row.Cells, gridCell{figures[i], r, c, placePath(at), shade})
		}
		g.Lines = append(g.Lines, row)
	}
	g.Got = gotWords(s, b, spreadOf(figures), line)
	var trust []string
	if measured > 0 {
		trust = append(trust, fmt.Sprintf("each place ± %.0f %%", 100*errs/float64(measured)))
	}
	if !s.Over() {
		g.Today = todayWords(b)
		trust = append(trust, fmt.Sprintf("readings cover %.0f %% of today", 100*b.Coverage))
	}
	if b.Map != "" {
		trust = append(trust, b.Map)
	}
	g.Trust = strings.Join(trust, "; ")
	if b.Season != nil {
		g.Chart, g.Events = b.Season.Chart(), b.Season.Happenings()
	}
	return g
}

// shown is the figure that a place's shade goes by: today's, where no other is known.
func (s *State) shown(b Bin, figures []Figure, i int) Figure {
	if f := figures[i]; f.Known || s.Over() {
		return f
	}
	return b.Cells[i].Today
}

// brightest is the most that any place of the bins is shown with.
func (s *State) brightest(bins ...Bin) (top float64) {
	for _, b := range bins {
		figures := s.figures(b)
		for i := range figures {
			top = max(top, float64(s.shown(b, figures, i).DLI))
		}
	}
	return top
}

// gotWords says what a bin got against what it was meant to get, and of a season
// that is over on how many days it was off that.
func gotWords(s *State, b Bin, x spread, line binLine) string {
	got := "%.2f yesterday"
	switch {
	case !x.known && s.Over():
		return "What it got is not known."
	case !x.known:
		return "Yesterday is not known."
	case s.Over() && b.TargetDLI > 0:
		got = "%.2f of %.2f a day"
	case s.Over():
		got = "%.2f a day"
	case b.TargetDLI > 0:
		got = "%.2f of %.2f yesterday"
	}
	args := []any{x.mean, float64(b.TargetDLI)}[:strings.Count(got, "%.2f")]
	text := fmt.Sprintf(got, args...)
	if line.Wrong != "" {
		text += ": " + line.Wrong
	}
	if s.Over() && b.Season != nil {
		if off, of := b.Season.offTarget(s.OffTarget); off > 0 {
			text += fmt.Sprintf("; off it by more than %.0f %% on %d of %s", 100*s.OffTarget, off, count(of, "day"))
		}
	}
	return text
}

func todayWords(b Bin) string {
	mean, known := b.MeanToday()
	if !known {
		return "Light not known yet today."
	}
	text := fmt.Sprintf("today %.2f", float64(mean))
	if b.HasDue {
		text += fmt.Sprintf(" of %.2f due", float64(b.Due))
	}
	return text
}
