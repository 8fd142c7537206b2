// Package layout deals a trial's plants to positions, and treatments to plants.
package layout

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/deal"
	"parstead/light"
	"parstead/light/field"
)

// File is the sheet that a layout is written to.
const File = "layout.csv"

// Layout is where a trial's plants were dealt to, by which plan.
type Layout struct {
	*deal.Layout
	Plan deal.Plan
}

// Deal deals the plants of a trial and puts them there.
func Deal(t *trial.Trial, seed uint64) (*Layout, error) {
	plan, err := planOf(t)
	if err != nil {
		return nil, err
	}
	l, err := deal.Lay(plan, seed)
	if err != nil {
		return nil, err
	}
	place(t, plan, l)
	return &Layout{l, plan}, nil
}

// planOf is a trial as the procedure needs it.
func planOf(t *trial.Trial) (deal.Plan, error) {
	var plan deal.Plan
	for _, tr := range t.Treatments {
		if tr.SetPer == analysis.Given {
			continue
		}
		if i := slices.IndexFunc(t.Plants, func(p trial.Plant) bool { return p.Treatments[tr.Name] != "" }); i >= 0 {
			return plan, fmt.Errorf("plants.csv gives plant %s %s %s already: remove the column to have it dealt, or set it per \"given\" in trial.toml", t.Plants[i].Code, tr.Name, t.Plants[i].Treatments[tr.Name])
		}
		plan.Treatments = append(plan.Treatments, deal.Treatment{Name: tr.Name, Levels: tr.Levels, SetPer: tr.SetPer, OnlyBins: tr.OnlyBins})
	}
	for _, b := range t.Rack.Bins {
		plan.Bins = append(plan.Bins, room(t, b))
	}
	start := startColumn(t)
	for i := range t.Plants {
		p := &t.Plants[i]
		size, ok := p.Number(start)
		if !ok {
			size = math.NaN()
		}
		plan.Plants = append(plan.Plants, deal.Plant{Code: p.Code, Group: groupOf(t, p), Start: size, Guard: p.Guard})
	}
	return plan, nil
}

// groupOf is what a plant came as: groups are dealt apart.
func groupOf(t *trial.Trial, p *trial.Plant) string {
	var parts []string
	if t.AnalyseBy != "" {
		parts = append(parts, p.Columns[t.AnalyseBy])
	}
	for _, tr := range t.Treatments {
		if tr.SetPer == analysis.Given {
			parts = append(parts, p.Treatments[tr.Name])
		}
	}
	return strings.TrimSpace(strings.Join(parts, " "))
}

// startColumn is the primary outcome's column of starting sizes, else the first
// outcome's that has one; "" where none does.
func startColumn(t *trial.Trial) string {
	start := ""
	for _, o := range t.Outcomes {
		if o.Start != "" && (start == "" || o.Primary) {
			start = o.Start
		}
	}
	return start
}

// room is a bin's positions with the light that the survey found there.
func room(t *trial.Trial, b light.Bin) deal.Bin {
	r := deal.Bin{Name: b.Name, Block: b.Block, Reservoir: b.Reservoir}
	found := surveyed(t, b)
	for i, p := range b.Positions() {
		cell := deal.Cell{Row: p.Row, Column: p.Column, Light: math.NaN()}
		if found != nil {
			cell.Light = found[i]
		}
		cell.Sensor = slices.ContainsFunc(t.Rack.Sensors, func(s light.Sensor) bool { return s.Measures.IsLight() && s.Position == p })
		r.Cells = append(r.Cells, cell)
	}
	return r
}

// surveyed is the log of the light at a bin's positions, smoothed; nil where no
// survey shows it. Lux will do: a lamp's light is of one colour all over.
func surveyed(t *trial.Trial, b light.Bin) []float64 {
	var walk []field.Reading
	for _, s := range t.Rack.Survey {
		if b.Contains(s.Position) && s.Value > 0 {
			walk = append(walk, field.Reading{
				At: s.At, Position: s.Position, PPFD: s.Value, Reference: math.NaN(), Meter: s.Meter + " " + s.Measures.String(),
			})
		}
	}
	return field.Light(b, walk)
}

// place puts the trial's plants where they were dealt.
func place(t *trial.Trial, plan deal.Plan, l *deal.Layout) {
	for i, at := range l.Places {
		p := &t.Plants[i]
		p.Place = light.Position{Bin: at.Bin, Row: at.Row, Column: at.Column}
		levels := map[string]string{}
		maps.Copy(levels, p.Treatments)
		for j, tr := range plan.Treatments {
			if k := l.Labels[j][i]; k >= 0 {
				levels[tr.Name] = tr.Levels[k]
			}
		}
		p.Treatments = levels
	}
}

// Write writes layout.csv, ordered as one walks along the bins, and never
// over another.
func (l *Layout) Write(t *trial.Trial) error {
	header := []string{"plant", "bin", "row", "column"}
	for _, tr := range l.Plan.Treatments {
		header = append(header, tr.Name)
	}
	guards := slices.ContainsFunc(l.Plan.Plants, func(p deal.Plant) bool { return p.Guard })
	if guards {
		header = append(header, "guard")
	}
	rows := [][]string{header}
	for _, b := range t.Rack.Bins {
		order := make([]int, 0, len(l.Places))
		for i, at := range l.Places {
			if at.Bin == b.Name {
				order = append(order, i)
			}
		}
		slices.SortFunc(order, func(i, j int) int {
			return b.Index(t.Plants[i].Place) - b.Index(t.Plants[j].Place)
		})
		for _, i := range order {
			at := l.Places[i]
			row := []string{l.Plan.Plants[i].Code, at.Bin, strconv.Itoa(at.Row), strconv.Itoa(at.Column)}
			for _, tr := range l.Plan.Treatments {
				row = append(row, t.Plants[i].Treatments[tr.Name])
			}
			if guards {
				row = append(row, map[bool]string{true: "yes"}[l.Plan.Plants[i].Guard])
			}
			rows = append(rows, row)
		}
	}
	err := atomicfile.Create(t.Path(File), 0o600, func(w *bufio.Writer) error { return csv.NewWriter(w).WriteAll(rows) })
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already and is never replaced: move it away to deal anew", File)
	}
	return err
}
