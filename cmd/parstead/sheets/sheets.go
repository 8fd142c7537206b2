// Package sheets makes what a grower prints and fills in: the walk of a survey,
// labels, and lists to count and to harvest by, each as a page for the printer and
// as CSV with exactly the columns of the trial's own sheet.
package sheets

import (
	"cmp"
	"encoding/csv"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"

	_ "embed"

	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// Sheet is one sheet in both its forms.
type Sheet struct {
	Head    []string   // columns of the CSV
	Rows    [][]string // cells to be filled in are blank
	Remarks []string   // what was left out of the sheet, and why

	template string
	page     any
}

// WriteCSV writes the sheet as RFC 4180 has it.
func (s *Sheet) WriteCSV(w io.Writer) error {
	out := csv.NewWriter(w)
	if err := out.Write(s.Head); err != nil {
		return fmt.Errorf("write the sheet: %w", err)
	}
	if err := out.WriteAll(s.Rows); err != nil {
		return fmt.Errorf("write the sheet: %w", err)
	}
	return nil
}

// Follow brings the CSV's columns into the order of a sheet below which its lines
// are to go, so that none falls under another heading. It gives the columns that
// the sheet lacks, which come last.
func (s *Sheet) Follow(headings []string) (lacking []string) {
	place := func(heading string) int {
		return slices.IndexFunc(s.Head, func(h string) bool { return strings.EqualFold(h, strings.TrimSpace(heading)) })
	}
	head := slices.Clone(headings)
	for _, h := range s.Head {
		if !slices.ContainsFunc(headings, func(x string) bool { return strings.EqualFold(strings.TrimSpace(x), h) }) {
			head, lacking = append(head, h), append(lacking, h)
		}
	}
	for n, row := range s.Rows {
		s.Rows[n] = make([]string, len(head))
		for i, h := range head {
			if j := place(h); j >= 0 {
				s.Rows[n][i] = row[j]
			}
		}
	}
	s.Head = head
	return lacking
}

//go:embed page.gohtml
var pageText string

// WriteHTML writes the sheet as a page that needs nothing else: black on white, for
// A4 and letter paper.
func (s *Sheet) WriteHTML(w io.Writer) error {
	pages := template.Must(template.New("").Parse(pageText)) // here: no other command should pay for it
	if err := pages.ExecuteTemplate(w, s.template, s.page); err != nil {
		return fmt.Errorf("write the page: %w", err)
	}
	return nil
}

// pageHead is what stands on top of every printed page.
type pageHead struct {
	Title     string // "Harvest"
	Trial     string
	Printed   light.Date
	Landscape bool
	Lead      []string // what to do
	Safety    []string
	Fields    [][]string // blanks to fill in once a sheet; those of one list stay on one line
}

// standing is where a plant stands now, as far as moves.csv tells; zero where there
// is no layout.
func standing(p *trial.Plant) light.Position {
	if n := len(p.Stays); n > 0 {
		return p.Stays[n-1].Position
	}
	return p.Place
}

// alongBins lists the indices of the plants as one walks along the bins.
func alongBins(t *trial.Trial) []int {
	order := make([]int, len(t.Plants))
	for i := range order {
		order[i] = i
	}
	index := func(i int) (bin, cell int) {
		p := standing(&t.Plants[i])
		bin = slices.IndexFunc(t.Rack.Bins, func(b light.Bin) bool { return b.Name == p.Bin })
		if bin >= 0 {
			cell = t.Rack.Bins[bin].Index(p)
		}
		return bin, cell
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, m := index(i)
		b, n := index(j)
		return cmp.Or(a-b, m-n)
	})
	return order
}
