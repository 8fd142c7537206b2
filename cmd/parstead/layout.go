package main

import (
	"bufio"
	crypto "crypto/rand"
	"encoding/binary"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/deal"
	"parstead/light"
	"parstead/light/field"
	"parstead/store"
)

const layoutFile = "layout.csv"

// layoutCmd deals plants to positions and treatments to plants.
type layoutCmd struct {
	Folder string  `arg:"" help:"The trial's folder, with plants.csv."`
	Seed   *uint64 `placeholder:"N" help:"Of the deal; drawn and kept unless given."`
}

// Help is what layout --help says beside its options.
func (layoutCmd) Help() string {
	return `Deals the plants of plants.csv to positions at random and writes layout.csv:
plants of like starting size in sets on positions of like light (by survey.csv;
without one, around the rim and through the rows), every treatment once in each
set, balanced within bins and blocks. Treatments set per bin or reservoir go to
whole bins or reservoirs within blocks; given ones are never dealt. Plants with
yes under "guard" go to the rim, corners first, and get no treatment.

The seed, the procedure and the planned outcomes are sealed in the trial's log.
A layout that is there already is never replaced.

Example: parstead layout mytrial

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run deals, seals the plan and writes layout.csv.
func (c *layoutCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	if t.Dealt {
		return fmt.Errorf("%s has a layout already, which is never replaced: move it away to deal anew", c.Folder)
	}
	plan, err := planOf(t, e.stderr)
	if err != nil {
		return err
	}
	seed, err := seedOr(c.Seed)
	if err != nil {
		return err
	}
	layout, err := deal.Lay(plan, seed)
	if err != nil {
		return err
	}
	place(t, plan, layout)
	event, err := harvest.Plan(t, layout.Record).Event(e.now())
	if err != nil {
		return err
	}
	if err := writeLayout(t, plan, layout); err != nil {
		return err
	}
	if _, err := store.AddEvent(e.ctx, c.Folder, store.Options{Now: e.now}, event); err != nil {
		if gone := os.Remove(filepath.Join(c.Folder, layoutFile)); gone != nil {
			return fmt.Errorf("%w; remove %s, which the log knows nothing of", err, layoutFile)
		}
		return err
	}
	return c.tell(e.stdout, plan, layout)
}

// seedOr is the seed that was given, else one that is drawn.
func seedOr(given *uint64) (uint64, error) {
	if given != nil {
		return *given, nil
	}
	var b [8]byte
	if _, err := crypto.Read(b[:]); err != nil {
		return 0, fmt.Errorf("draw a seed: %w", err)
	}
	return binary.LittleEndian.Uint64(b[:]) >> 11, nil // short enough for any program to read back
}

// planOf is a trial as the procedure needs it.
func planOf(t *trial.Trial, talk io.Writer) (deal.Plan, error) {
	var plan deal.Plan
	for _, tr := range t.Treatments {
		if tr.SetPer == analysis.Given {
			continue
		}
		if i := slices.IndexFunc(t.Plants, func(p trial.Plant) bool { return p.Treatments[tr.Name] != "" }); i >= 0 {
			return plan, fmt.Errorf("plants.csv gives plant %s %s %s already: remove the column to have it dealt, or set it per \"given\" in trial.toml", t.Plants[i].Code, tr.Name, t.Plants[i].Treatments[tr.Name])
		}
		plan.Treatments = append(plan.Treatments, deal.Treatment{Name: tr.Name, Levels: tr.Levels, SetPer: deal.SetPer(tr.SetPer)})
	}
	for _, b := range t.Rack.Bins {
		plan.Bins = append(plan.Bins, room(t, b, talk))
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
func room(t *trial.Trial, b light.Bin, talk io.Writer) deal.Bin {
	r := deal.Bin{Name: b.Name, Block: b.Block, Reservoir: b.Reservoir}
	found := surveyed(t, b, talk)
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
func surveyed(t *trial.Trial, b light.Bin, talk io.Writer) []float64 {
	var walk []field.Reading
	for _, s := range t.Rack.Survey {
		if b.Contains(s.Position) && s.Value > 0 {
			walk = append(walk, field.Reading{
				At: s.At, Position: s.Position, PPFD: s.Value, Reference: math.NaN(), Meter: s.Meter + " " + s.Measures.String(),
			})
		}
	}
	if len(walk) == 0 {
		return nil
	}
	surface, err := field.Smooth(b, walk)
	if err != nil {
		fmt.Fprintf(talk, "parstead: bin %s: %v; its positions are taken around the rim and row by row\n", b.Name, err)
		return nil
	}
	return surface.Log
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

// writeLayout writes layout.csv, ordered as one walks along the bins, and never
// over another.
func writeLayout(t *trial.Trial, plan deal.Plan, l *deal.Layout) error {
	header := []string{"plant", "bin", "row", "column"}
	for _, tr := range plan.Treatments {
		header = append(header, tr.Name)
	}
	guards := slices.ContainsFunc(plan.Plants, func(p deal.Plant) bool { return p.Guard })
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
			row := []string{plan.Plants[i].Code, at.Bin, strconv.Itoa(at.Row), strconv.Itoa(at.Column)}
			for _, tr := range plan.Treatments {
				row = append(row, t.Plants[i].Treatments[tr.Name])
			}
			if guards {
				row = append(row, map[bool]string{true: "yes"}[plan.Plants[i].Guard])
			}
			rows = append(rows, row)
		}
	}
	err := atomicfile.Create(t.Path(layoutFile), 0o600, func(w *bufio.Writer) error { return csv.NewWriter(w).WriteAll(rows) })
	if errors.Is(err, fs.ErrExist) {
		return fmt.Errorf("%s is there already and is never replaced: move it away to deal anew", layoutFile)
	}
	return err
}

func (c *layoutCmd) tell(w io.Writer, plan deal.Plan, l *deal.Layout) error {
	guards := 0
	for _, p := range plan.Plants {
		if p.Guard {
			guards++
		}
	}
	among := ""
	if guards > 0 {
		among = fmt.Sprintf(", %d of them guards", guards)
	}
	_, err := fmt.Fprintf(w, `%d plants dealt to %d bins%s; written to %s.
%s
Seed %d. The seed, the procedure and the planned outcomes are sealed in the log.
Next: put each plant where the file says and give it what the file says; then
parstead run %s.
`, len(plan.Plants), len(plan.Bins), among, filepath.Join(c.Folder, layoutFile), l.Record.Procedure, l.Record.Seed, c.Folder)
	return err
}
