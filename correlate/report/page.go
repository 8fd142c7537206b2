package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"parstead/correlate"
	"parstead/correlate/analysis"
	"parstead/correlate/answer"
	"parstead/correlate/phrase"
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
	Asked, Note   string
	Matters       string
	Losses        []answer.Line
	LostPhotos    []shot
	Script        template.JS
	ScriptHash    string
	Answer        []analysis.Sentence
	First         []figure
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

//go:embed touch.js
var touchScript string

// scriptHash is what the page's content policy knows its script by.
func scriptHash() string {
	sum := sha256.Sum256([]byte(touchScript))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
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

// outcomePart is an outcome: its lines, pictures and table, and all the rest of it.
type outcomePart struct {
	ID, Title, Standing, How string
	Headline                 string
	Photos                   []shot
	Lines                    []answer.Line
	Figures                  []figure
	Ranked                   []tables.Table
	Kinds                    []foundKind
	Rest                     []figure
	Tables                   []tables.Table
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
	data.Asked, data.Matters = answer.Asked(r.Input)
	data.Asked, data.Note, data.Answer = phrase.Capital(data.Asked), answer.Note(r.Input), whole(r.Result.Answer)
	data.Losses, data.LostPhotos = answer.LossLines(r.Result), r.photosOfLost()
	// The program's own, which holds nothing of the trial.
	data.Script, data.ScriptHash = template.JS(touchScript), scriptHash() //nolint:gosec // see above
	parts := make([]outcomePart, len(r.Result.Outcomes))
	for i := range pictures {
		// The drawing's own texts are escaped where they are written.
		f := figure{pictures[i].file, pictures[i].title, pictures[i].caption, template.HTML(pictures[i].svg(true))} //nolint:gosec // see above
		switch of := pictures[i].of; {
		case of == firstOfAll:
			data.First = append(data.First, f)
		case of == rackWide:
			data.Rack = append(data.Rack, f)
		case of == allOutcomes:
			data.Together = append(data.Together, f)
		case pictures[i].main && standsOut(r.Input, r.outcome(of)):
			parts[of].Figures = append(parts[of].Figures, f)
		default:
			parts[of].Rest = append(parts[of].Rest, f)
		}
	}
	for _, i := range r.order() {
		o, part := r.outcome(i), parts[i]
		part.ID, part.Title, part.Standing, part.How = fmt.Sprintf("found-%d", i), o.title(), standing(r.Input, o), how(o)
		part.Headline, part.Photos = answer.Headline(r.Input, r.Result, o.OutcomeResult), r.photosOfRare(o)
		part.Lines, part.Ranked = answer.Brief(r.Input, r.Result, o.OutcomeResult), tables.Ranked(r.Input, o.OutcomeResult)
		part.Kinds, part.Tables = byKind(o.Findings), tables.Outcome(r.Input, o.OutcomeResult)
		data.Outcomes = append(data.Outcomes, part)
	}
	data.Tables = slices.Concat(tables.Ranks(r.Result.OutcomeCorrelations), tables.Electricity(r.Result.Electricity))
	return template.Must(template.New("page").Parse(pageText)).Execute(w, data)
}

// whole keeps a figure and its per cent on one line.
func whole(list []analysis.Sentence) []analysis.Sentence {
	kept := slices.Clone(list)
	for i := range kept {
		kept[i].Says = strings.ReplaceAll(kept[i].Says, " %", "\u00a0%")
	}
	return kept
}

// order is the outcomes' as the answer tells them: planned ones first, and last those
// in which nothing can be compared.
func (r *Report) order() []int {
	var list []int
	for _, o := range answer.Ordered(r.Result) {
		for i := range r.Result.Outcomes {
			if o == &r.Result.Outcomes[i] {
				list = append(list, i)
			}
		}
	}
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
