package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"parstead/correlate"
	"parstead/correlate/sentences"
	"parstead/correlate/tables"
)

//go:embed page.gohtml
var pageText string

// safety is what must be said where lamps, water, sap and plants for sale are.
var safety = []string{
	"Parstead only watches. It switches nothing and replaces no float switch, thermal cut-out, fuse or residual-current device.",
	"Mains near water can kill: installation to local code by a licensed electrician, residual-current protection, drip loops, off at the plug before reaching in.",
	"Don't look into lamps; cover UV. Drain bins before lifting.",
	"Follow product labels; gloves for irritant sap; a mask with mouldy material; dry plant material ventilated, never in an oven used for food.",
	"Release no plants or water outdoors; check plant-health rules and breeders' rights before selling.",
}

// pageData is what the template shows.
type pageData struct {
	Title, Remark string
	Written       string
	Version       string
	Plants        int
	Found         []foundPart
	Departures    []string
	Early         bool
	Lost          []tables.Table
	Next          []tables.Table // what a next trial needs
	Rack          []figure
	Outcomes      []outcomePart
	Together      []figure
	Tables        []tables.Table
	Methods       string
	Equations     []fact
	Cite          string
	Made          []fact
	MadeTables    []tables.Table
	Safety        []string
	Files         []string
}

// foundPart is what was found of one outcome.
type foundPart struct {
	ID, Title, Standing, How string
	Kinds                    []foundKind
}

// foundKind is the findings of one kind.
type foundKind struct {
	Heading  string
	Findings []correlate.Finding
}

// byKind parts findings, which come sorted, by their kinds.
func byKind(list []correlate.Finding) []foundKind {
	var kinds []foundKind
	for i, f := range list {
		if i == 0 || f.Kind != list[i-1].Kind {
			kinds = append(kinds, foundKind{Heading: sentences.Heading(f.Kind)})
		}
		last := &kinds[len(kinds)-1]
		last.Findings = append(last.Findings, f)
	}
	return kinds
}

// figure is a picture on the page.
type figure struct {
	File, Title, Caption string
	SVG                  template.HTML
}

// outcomePart is an outcome's pictures or tables.
type outcomePart struct {
	Title   string
	Figures []figure
	Tables  []tables.Table
}

// fact is one thing that a report must say.
type fact struct{ What, Is string }

// page writes index.html.
func (r *Report) page(w io.Writer, pictures []picture) error {
	data := pageData{
		Title: r.Trial, Remark: r.Remark, Version: r.Version, Written: r.Written.UTC().Format(time.RFC3339),
		Plants: r.Result.Plants, Departures: r.Result.Departures, Early: r.Input.Early, Safety: safety,
		Lost: tables.Lost(r.Result.Lost), Next: tables.Next(r.Result.NextTrial), Made: r.facts(), MadeTables: r.rackTables(),
		Methods: r.Result.Methods, Equations: r.referee(), Cite: fmt.Sprintf("%s. Analysis of %s, %s.", r.Version, r.Trial, r.Written.UTC().Format(time.DateOnly)),
	}
	for i := range pictures {
		// The drawing's own texts are escaped where they are written.
		f := figure{pictures[i].file, pictures[i].title, pictures[i].caption, template.HTML(pictures[i].svg())} //nolint:gosec // see above
		switch of := pictures[i].of; of {
		case rackWide:
			data.Rack = append(data.Rack, f)
		case allOutcomes:
			data.Together = append(data.Together, f)
		default:
			title := r.outcome(of).title()
			if n := len(data.Outcomes); n == 0 || data.Outcomes[n-1].Title != title {
				data.Outcomes = append(data.Outcomes, outcomePart{Title: title})
			}
			part := &data.Outcomes[len(data.Outcomes)-1]
			part.Figures = append(part.Figures, f)
		}
	}
	for _, i := range r.order() {
		o := r.outcome(i)
		data.Found = append(data.Found, foundPart{fmt.Sprintf("found-%d", i), o.title(), standing(r.Input, o), how(o), byKind(o.Findings)})
		data.Tables = append(data.Tables, tables.Outcome(r.Input, o.OutcomeResult)...)
	}
	data.Tables = slices.Concat(data.Tables, tables.Ranks(r.Result.OutcomeCorrelations), tables.Electricity(r.Result.Electricity))
	return template.Must(template.New("page").Parse(pageText)).Execute(w, data)
}

// order is the outcomes' with the primary one first, then planned ones.
func (r *Report) order() []int {
	rank := func(i int) int {
		switch o := r.Result.Outcomes[i]; {
		case o.Primary:
			return 0
		case o.Planned:
			return 1
		}
		return 2
	}
	list := make([]int, len(r.Result.Outcomes))
	for i := range list {
		list[i] = i
	}
	slices.SortStableFunc(list, func(a, b int) int { return rank(a) - rank(b) })
	return list
}

// standing says whether a result was planned.
func standing(in *correlate.Input, o *outcome) string {
	switch {
	case in.Table:
		return "from a table: nothing is primary"
	case o.Primary && o.Planned:
		return "primary outcome, planned"
	case o.Primary:
		return "primary outcome, no sealed plan"
	case o.Planned:
		return "planned"
	}
	return "exploratory"
}

// how says what was fitted to how many plants.
func how(o *outcome) string {
	parts := []string{count(o.N, "plant", "plants")}
	if o.Missing > 0 {
		parts[0] += fmt.Sprintf(", %d missing", o.Missing)
	}
	switch {
	case o.Unit != "" && o.log():
		parts = append(parts, "in "+o.Unit+", analysed as its natural logarithm")
	case o.log():
		parts = append(parts, "analysed as its natural logarithm")
	case o.Unit != "":
		parts = append(parts, "in "+o.Unit)
	}
	if o.Model != "" {
		parts = append(parts, o.Model)
	}
	return strings.Join(parts, "; ")
}
