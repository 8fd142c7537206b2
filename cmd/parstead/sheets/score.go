package sheets

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/light"
)

// Scoring says how a list to score by is made.
type Scoring struct {
	Seed     uint64
	Outcomes []string // names; nil: those that fit
	NoPlaces bool     // leave out where plants stand: whoever scores gets them handed; so without a layout
	At       string   // counts: the time to write into every line; "" leaves it blank
	Tare     bool     // harvest: masses as gross and tare
	Again    bool     // harvest: a second weighing of every measure
	Printed  light.Date
}

// scorePage is a list of plants in the order in which they are scored.
type scorePage struct {
	pageHead
	Seed  uint64
	Lists []list
}

// list is a table of blanks; a wide one is cut into several.
type list struct {
	Caption string
	Head    []column
	Rows    [][]string
}

// column is one column on paper.
type column struct {
	Name, Note string
	Width      int // mm; 0: what is left
}

// Words is the column's name, which may be broken after an underscore.
func (c column) Words() string { return strings.ReplaceAll(c.Name, "_", "_\u200b") }

// notDue stands where a plant is not asked for an outcome.
const notDue = "–"

var scoringSafety = []string{
	"Switch off at the plug before reaching in: mains near water can kill.",
	"Gloves for irritant sap; a mask with mouldy material; wash hands between mouldy plants and sound ones.",
}

var harvestSafety = append(slices.Clone(scoringSafety),
	"Drain bins before lifting. Dry plant material ventilated, never in an oven used for food.",
	"Release no plants or water outdoors; check plant-health rules and breeders' rights before selling.",
)

// Count is a list to count by: every plant that still lives, shuffled, with a blank
// for each outcome, and no treatment. The CSV has the columns of counts.csv, a line
// for each plant and outcome.
//
// Errors: no plant or outcome to count, an outcome that the trial does not have, a
// time that can't be meant.
func Count(t *trial.Trial, o Scoring) (*Sheet, error) {
	outcomes, err := chosen(t, o.Outcomes, func(out trial.Outcome) bool { return kind.Of(out.Kind).Counted })
	if err != nil {
		return nil, err
	}
	if len(outcomes) == 0 {
		return nil, errors.New("the trial counts nothing: name what is to be measured with --outcome")
	}
	if o.At != "" {
		clock := trial.Clock{Zone: t.Rack.Zone}
		at, err := clock.Parse(o.At)
		if err != nil {
			return nil, fmt.Errorf("--at: %w", err)
		}
		if !t.Rack.Trial().Holds(at) {
			return nil, fmt.Errorf("--at: %s lies outside the trial, %v to %v: correct the time", o.At, t.Rack.Starts, t.Rack.Ends)
		}
	}
	s := &Sheet{Head: []string{"time", "plant", "outcome", "value", "remarks"}, template: "score"}
	o.NoPlaces = o.NoPlaces || !t.Dealt
	plants, err := s.shuffled(t, o.Seed)
	if err != nil {
		return nil, err
	}
	page := scorePage{Seed: o.Seed, pageHead: pageHead{
		Title: "Count", Trial: t.Name, Printed: o.Printed, Safety: scoringSafety, Fields: [][]string{{"day"}, {"began", "ended"}, {"counted by"}},
		Lead: []string{
			"Take the plants in the order of the list: it is shuffled, so that haste and tired eyes meet no treatment. Treatments are left out on purpose.",
			"None is 0; not counted is blank. The CSV file has the same order; in it write the time into every line, and delete lines of plants that were not counted.",
		},
	}}
	for _, p := range plants {
		for _, out := range outcomes {
			if out.Concerns(p) {
				s.Rows = append(s.Rows, []string{o.At, p.Code, out.Name, "", ""})
			}
		}
	}
	var columns []column
	for _, out := range outcomes {
		columns = append(columns, column{Name: out.Name, Note: noteOf(out)})
	}
	page.Lists = lists(plants, o, columns, func(p *trial.Plant, i int) string { return blankIf(outcomes[i].Concerns(p)) },
		[]column{{Name: "remarks"}})
	s.page = page
	return s, nil
}

// Harvest is a list to weigh and judge by: every plant without a line in
// harvest.csv, shuffled, with blanks for each outcome and for what became of it, and
// no treatment. The CSV has the columns of harvest.csv. Outcomes that counts.csv
// answers are left out unless they are named: a blank column would hide the counts.
//
// Errors: those of Count.
func Harvest(t *trial.Trial, o Scoring) (*Sheet, error) {
	counted := map[string]bool{}
	for _, c := range t.Counts {
		counted[c.Outcome] = true
	}
	outcomes, err := chosen(t, o.Outcomes, func(out trial.Outcome) bool { return !counted[out.Name] })
	if err != nil {
		return nil, err
	}
	if len(outcomes) == 0 {
		return nil, errors.New("counts.csv answers every outcome: name what is to be weighed or judged with --outcome")
	}
	s := &Sheet{Head: []string{"plant", "date", "status", "lost_on", "cause"}, template: "score"}
	for _, out := range t.Outcomes {
		if counted[out.Name] && !slices.ContainsFunc(outcomes, func(x trial.Outcome) bool { return x.Name == out.Name }) {
			s.Remarks = append(s.Remarks, fmt.Sprintf("%s is left out: its last count stands in counts.csv, and a blank column would hide it.", out.Name))
		}
	}
	o.NoPlaces = o.NoPlaces || !t.Dealt
	plants, err := s.shuffled(t, o.Seed)
	if err != nil {
		return nil, err
	}
	if open := unfinished(t, outcomes); len(open) > 0 {
		s.Remarks = append(s.Remarks, fmt.Sprintf("Of these a value is still missing from the line of %s: fill it in there.", someOf(open)))
	}
	columns, of := weighed(t, o, outcomes)
	for _, c := range columns {
		s.Head = append(s.Head, c.Name)
	}
	s.Head = append(s.Head, "remarks")
	for _, p := range plants {
		row := make([]string, len(s.Head))
		row[0] = p.Code
		s.Rows = append(s.Rows, row)
	}
	page := scorePage{Seed: o.Seed, pageHead: pageHead{
		Title: "Harvest", Trial: t.Name, Printed: o.Printed, Landscape: true, Safety: harvestSafety, Fields: [][]string{{"harvested by"}, {"balance"}},
		Lead: []string{
			"Take the plants in the order of the list: it is shuffled, so that haste, drying and a drifting balance meet no treatment. Treatments are left out on purpose.",
			"Not weighed or not seen is blank, never 0. status: harvested (or blank), lost, withdrawn. A lost plant: the day under lost_on, and as cause one of " + strings.Join(trial.Causes, ", ") + ". date: blank means the trial's last day, " + t.Rack.Ends.String() + ".",
		},
	}}
	page.Lists = lists(plants, o, columns, func(p *trial.Plant, i int) string { return blankIf(of[i].Concerns(p)) }, []column{
		{"date", "of harvest", 20},
		{"status", "lost, withdrawn", 19},
		{"lost_on", "day", 20},
		{"cause", strings.Join(trial.Causes, " "), 19},
		{Name: "remarks"},
	})
	s.page = page
	return s, nil
}

// weighed are the columns of a harvest with the outcome that each is about.
func weighed(t *trial.Trial, o Scoring, outcomes []trial.Outcome) (columns []column, of []trial.Outcome) {
	add := func(name, note string, out trial.Outcome) {
		if !slices.ContainsFunc(columns, func(c column) bool { return c.Name == name }) {
			columns, of = append(columns, column{Name: name, Note: note}), append(of, out)
		}
	}
	for _, out := range outcomes {
		if o.Tare && isMass(out) {
			add(out.Name+"_gross", noteOf(out)+", with the dish", out)
			add(out.Name+"_tare", noteOf(out)+", the dish alone", out)
		} else {
			add(out.Name, noteOf(out), out)
		}
		if o.Again && kind.Of(out.Kind).Measured {
			add(out.Name+"_again", noteOf(out)+", a second time", out)
		}
		if e := out.Exposure; e != "" && !slices.ContainsFunc(t.Columns, func(c string) bool { return strings.EqualFold(c, e) }) {
			add(e, "what "+out.Name+" is counted per", out)
		}
	}
	return columns, of
}

// chosen are the outcomes that are named, else those that fit.
func chosen(t *trial.Trial, names []string, fits func(trial.Outcome) bool) ([]trial.Outcome, error) {
	var list []trial.Outcome
	for _, name := range names {
		out, ok := t.Outcome(name)
		if !ok {
			return nil, fmt.Errorf("trial.toml has no outcome %q: name one of its [[outcome]] tables", name)
		}
		list = append(list, out)
	}
	if names != nil {
		return list, nil
	}
	for _, out := range t.Outcomes {
		if fits(out) {
			list = append(list, out)
		}
	}
	return list, nil
}

// shuffled are the plants to score, in the order that the seed gives: no guards, and
// none of which harvest.csv tells already.
func (s *Sheet) shuffled(t *trial.Trial, seed uint64) ([]*trial.Plant, error) {
	var plants []*trial.Plant
	guards, known := 0, 0
	for _, i := range alongBins(t) {
		switch p := &t.Plants[i]; {
		case p.Guard:
			guards++
		case p.HasHarvest:
			known++
		default:
			plants = append(plants, p)
		}
	}
	if guards > 0 {
		s.Remarks = append(s.Remarks, fmt.Sprintf("Guard plants are left out (%d): they are not analysed.", guards))
	}
	if known > 0 {
		s.Remarks = append(s.Remarks, fmt.Sprintf("Plants that have a line in harvest.csv are left out (%d).", known))
	}
	if len(plants) == 0 {
		return nil, fmt.Errorf("no plant is left to score: %d guards, %d with a line in harvest.csv", guards, known)
	}
	rand.New(rand.NewPCG(seed, 0)).Shuffle(len(plants), func(i, j int) { plants[i], plants[j] = plants[j], plants[i] })
	return plants, nil
}

// unfinished are the plants with a line in harvest.csv that lacks a value, though
// they were neither lost nor withdrawn.
func unfinished(t *trial.Trial, outcomes []trial.Outcome) (codes []string) {
	for _, i := range alongBins(t) {
		p := &t.Plants[i]
		if p.Guard || !p.HasHarvest || p.Status != analysis.Harvested {
			continue
		}
		if slices.ContainsFunc(outcomes, func(o trial.Outcome) bool { _, known := p.Values[o.Name]; return o.Concerns(p) && !known }) {
			codes = append(codes, p.Code)
		}
	}
	return codes
}

// someOf names the first few and counts the rest.
func someOf(codes []string) string {
	const few = 12
	if len(codes) <= few {
		return strings.Join(codes, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(codes[:few], ", "), len(codes)-few)
}

func blankIf(due bool) string {
	if due {
		return ""
	}
	return notDue
}

// isMass tells whether the outcome is weighed.
func isMass(out trial.Outcome) bool {
	return kind.Of(out.Kind).Measured && slices.Contains([]string{"g", "mg", "kg"}, out.Unit)
}

// noteOf says what to write into an outcome's cells.
func noteOf(out trial.Outcome) string {
	if note := kind.Of(out.Kind).Note; note != "" {
		return note
	}
	note := out.Unit
	if out.Basis != "" {
		note = strings.TrimSpace(note + " " + out.Basis)
	}
	return note
}

// mostBlanks is how many outcomes stand beside one another on paper.
const mostBlanks = 4

// lists are the tables on paper: the outcomes' columns, and after the first of them
// what else is asked of a plant.
func lists(plants []*trial.Plant, o Scoring, columns []column, cell func(p *trial.Plant, column int) string, rest []column) []list {
	var tables []list
	for from := 0; from < len(columns); from += mostBlanks {
		to := min(from+mostBlanks, len(columns))
		t := list{Head: []column{{Name: "", Width: 10}, {Name: "plant", Width: 22}}}
		if len(columns) > mostBlanks {
			t.Caption = fmt.Sprintf("Part %d of %d", from/mostBlanks+1, (len(columns)+mostBlanks-1)/mostBlanks)
		}
		if !o.NoPlaces {
			t.Head = append(t.Head, column{Name: "place", Note: "bin, row, column", Width: 36})
		}
		for _, c := range columns[from:to] {
			c.Width = 22
			if to-from < mostBlanks {
				c.Width = 28
			}
			t.Head = append(t.Head, c)
		}
		after := rest
		if from > 0 {
			after = nil
		}
		t.Head = append(t.Head, after...)
		for n, p := range plants {
			row := []string{strconv.Itoa(n + 1), p.Code}
			if !o.NoPlaces {
				at := standing(p)
				row = append(row, fmt.Sprintf("%s %d,\u00a0%d", at.Bin, at.Row, at.Column))
			}
			for i := from; i < to; i++ {
				row = append(row, cell(p, i))
			}
			t.Rows = append(t.Rows, append(row, make([]string, len(after))...))
		}
		tables = append(tables, t)
	}
	return tables
}
