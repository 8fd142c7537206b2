package sheets

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/light"
)

// Stock is a sheet of labels: so many across and down, centred on the paper.
// Lengths are in mm.
type Stock struct {
	Name          string
	Paper         string // as CSS names it
	Width, Height float64
	Across, Down  int
	GapX          float64 // between neighbours across; down they touch
	PaperX        float64
	PaperY        float64
}

// Stocks are the sizes that labels are sold in (common practice, no source; from
// memory). Paper is 210 × 297 mm (ISO 216) or 215.9 × 279.4 mm (ANSI/ASME Y14.1, A).
var Stocks = []Stock{
	{"a4-65", "A4", 38.1, 21.2, 5, 13, 2.5, 210, 297},
	{"a4-24", "A4", 70, 37, 3, 8, 0, 210, 297},
	{"a4-21", "A4", 63.5, 38.1, 3, 7, 2.5, 210, 297},
	{"letter-30", "letter", 66.675, 25.4, 3, 10, 3.175, 215.9, 279.4},
	{"letter-80", "letter", 44.45, 12.7, 4, 20, 7.62, 215.9, 279.4},
}

// smallest is the size of letters that can still be read, mm; what is too long for them
// is cut off.
const smallest = 1.5

// Pads are the distances from the edges to what is inside, mm.
type Pads struct{ Top, Right, Bottom, Left float64 }

// labelsPage is labels by the sheet.
type labelsPage struct {
	pageHead
	Stock
	Sheets [][]label
}

// Printers for the desk leave a rim of the paper blank, up to so many mm (common
// practice, no source); labels that reach into it keep their text out of it.
const blankRim = 5

// pad is how far text stays from a label's edge, mm.
const pad = 1.5

// label is one label with its upper left corner.
type label struct {
	X, Y   float64 // mm
	Pads           // from the label's edges to its text
	Code   string
	Size   float64 // of the code's letters, mm
	Small  float64 // of the lines below
	Lines  []string
	Beside bool // the lines stand beside the code: the label is low
}

// Labels is one label a plant with its code and the place where it stands, along the
// bins.
// A label that shows its treatments tells them to whoever scores the plant later.
//
// Errors: a trial without a layout, a stock that is not among Stocks.
func Labels(t *trial.Trial, stock string, treatments bool, printed light.Date) (*Sheet, error) {
	if !t.Dealt {
		return nil, fmt.Errorf("there is no layout.csv, so no plant has a place yet: deal one with parstead layout %s", t.Dir)
	}
	i := slices.IndexFunc(Stocks, func(s Stock) bool { return s.Name == stock })
	if i < 0 {
		var names []string
		for _, s := range Stocks {
			names = append(names, s.Name)
		}
		return nil, fmt.Errorf("labels of %q are not known: use one of %s", stock, strings.Join(names, ", "))
	}
	page := labelsPage{pageHead: pageHead{Title: "Labels", Trial: t.Name, Printed: printed}, Stock: Stocks[i]}
	s := &Sheet{Head: []string{"plant", "bin", "row", "column"}, template: "labels"}
	if treatments {
		for _, tr := range t.Treatments {
			if tr.SetPer != analysis.Given {
				s.Head = append(s.Head, tr.Name)
			}
		}
	}
	for n, i := range alongBins(t) {
		p := &t.Plants[i]
		at := standing(p)
		row := []string{p.Code, at.Bin, strconv.Itoa(at.Row), strconv.Itoa(at.Column)}
		lines := []string{at.Bin, fmt.Sprintf("row %d, column %d", at.Row, at.Column)}
		for _, name := range s.Head[4:] {
			level := p.Treatments[name]
			row = append(row, level)
			if level != "" {
				lines = append(lines, name+" "+level)
			}
		}
		if p.Guard {
			lines[0] += ", guard"
		}
		s.Rows = append(s.Rows, row)
		if n%(page.Across*page.Down) == 0 {
			page.Sheets = append(page.Sheets, nil)
		}
		last := &page.Sheets[len(page.Sheets)-1]
		*last = append(*last, page.label(len(*last), p.Code, lines))
	}
	s.page = page
	return s, nil
}

// label lays out the k-th label of a sheet. Letters are about 0.62 of their size
// wide in a fixed-width face, 0.52 in running text.
func (s Stock) label(k int, code string, lines []string) label {
	marginX := (s.PaperX - float64(s.Across)*s.Width - float64(s.Across-1)*s.GapX) / 2
	marginY := (s.PaperY - float64(s.Down)*s.Height) / 2
	l := label{
		X: marginX + float64(k%s.Across)*(s.Width+s.GapX), Y: marginY + float64(k/s.Across)*s.Height,
		Code: code, Lines: lines, Beside: s.Height < 15,
	}
	l.Pads = Pads{
		Top: max(pad, blankRim-l.Y), Bottom: max(pad, blankRim-(s.PaperY-l.Y-s.Height)),
		Left: max(pad, blankRim-l.X), Right: max(pad, blankRim-(s.PaperX-l.X-s.Width)),
	}
	width, height := s.Width-l.Left-l.Right, s.Height-l.Top-l.Bottom
	codeWidth := width
	if l.Beside {
		codeWidth = width / 2
	}
	l.Size = min(codeWidth/(0.62*float64(max(3, utf8.RuneCountInString(code)))), height*0.42)
	left, longest := height-l.Size*1.1, 1
	if l.Beside {
		left, width = height, width/2
	}
	for _, line := range lines {
		longest = max(longest, utf8.RuneCountInString(line))
	}
	l.Small = max(smallest, min(4, left/(1.15*float64(len(lines))), width/(0.52*float64(longest))))
	return l
}
