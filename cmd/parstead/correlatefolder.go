package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/light"
	"parstead/light/account"
	"parstead/store"
)

// readFolder makes the analysis's input of a trial: its plants with the light
// of the positions they held.
func (c *correlateCmd) readFolder(e *env) (*correlate.Input, error) {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return nil, err
	}
	if !t.Dealt {
		return nil, fmt.Errorf("%s has no layout.csv: deal one with parstead layout %s", c.Folder, c.Folder)
	}
	if len(t.Outcomes) == 0 {
		return nil, fmt.Errorf("trial.toml names no [[outcome]]: say what was weighed, counted or seen")
	}
	if !slices.ContainsFunc(t.Plants, func(p trial.Plant) bool { return p.HasHarvest }) {
		return nil, fmt.Errorf("%s has no harvest yet: write harvest.csv, a row a plant with its code under plant and a column for each outcome (%s)", c.Folder, t.Outcomes[0].Name)
	}
	view, err := store.OpenFolder(e.ctx, c.Folder)
	if err != nil {
		return nil, err
	}
	defer view.Close() //nolint:errcheck // it only read
	books := account.New(&t.Rack, view, account.Options{Now: e.now})
	stays := make([]account.PlantStay, len(t.Plants))
	for i, p := range t.Plants {
		stays[i] = account.PlantStay{Code: p.Code, Stays: p.Stays, Until: p.Date}
	}
	lights, remarks, err := books.PlantsAndRemarks(e.ctx, stays, account.Window(t.Window))
	if err != nil {
		return nil, err
	}
	tellRemarks(e.stderr, remarks)
	log, err := view.Events(e.ctx)
	if err != nil {
		return nil, err
	}
	in := inputOf(t, lights)
	in.Early = e.now().Before(t.Rack.Trial().Until)
	if in.Electricity, err = electricityOf(e, t, books, log, lights); err != nil {
		return nil, err
	}
	if err := planned(in, t, log, c.Interactions); err != nil {
		return nil, err
	}
	return in, nil
}

// looked writes into the log that results were read before the trial's end. A
// folder that can't be written to keeps nobody from reading.
func looked(e *env, folder string) {
	w, err := store.OpenWriter(e.ctx, folder, store.Options{Now: e.now})
	if err == nil {
		_, err = w.AddEvent(e.ctx, light.Event{At: e.now().UTC(), Written: e.now().UTC(), Kind: light.Looked, Text: "results were read before the trial's end"})
		if closed := w.Close(); err == nil {
			err = closed
		}
	}
	if err != nil {
		fmt.Fprintln(e.stderr, "parstead: the log does not say that results were read before the end:", err)
	}
}

// inputOf turns a trial into columns.
func inputOf(t *trial.Trial, lights []account.PlantLight) *correlate.Input {
	n := len(t.Plants)
	in := &correlate.Input{
		Plants: make([]string, n), Row: make([]int, n), Column: make([]int, n), Guard: make([]bool, n),
		Status: make([]correlate.Status, n), Cause: make([]string, n), LeaveOut: make([]string, n), Edge: make([]bool, n),
	}
	for i := range t.Plants {
		p := &t.Plants[i]
		in.Plants[i], in.Row[i], in.Column[i] = p.Code, p.Place.Row, p.Place.Column
		in.Guard[i], in.Cause[i], in.LeaveOut[i] = p.Guard, p.Cause, p.LeaveOut
		switch p.Status {
		case trial.Lost:
			in.Status[i] = correlate.Lost
		case trial.Withdrawn:
			in.Status[i] = correlate.Withdrawn
		}
		if bin, ok := t.Rack.Bin(p.Place.Bin); ok {
			in.Edge[i] = bin.Edge(p.Place)
		}
	}
	in.Bin = placeFactor(t, "bin", func(b light.Bin) string { return b.Name })
	for _, b := range t.Rack.Bins {
		in.BinPositions = append(in.BinPositions, len(b.Positions()))
	}
	in.Block = placeFactor(t, "block", func(b light.Bin) string { return b.Block })
	in.Reservoir = placeFactor(t, "reservoir", func(b light.Bin) string { return b.Reservoir })
	if in.Block != nil { // a bin without a block stands alone
		for i, code := range in.Block.Codes {
			if code == correlate.Blank && in.Bin.Codes[i] != correlate.Blank {
				in.Block.Codes[i] = indexOrAdd(&in.Block.Levels, "bin "+in.Bin.Levels[in.Bin.Codes[i]])
			}
		}
	}
	for _, tr := range t.Treatments {
		f := correlate.Factor{Name: tr.Name, Levels: tr.Levels, Codes: make([]int, n)}
		for i, p := range t.Plants {
			f.Codes[i] = slices.Index(tr.Levels, p.Treatments[tr.Name])
		}
		in.Treatments = append(in.Treatments, correlate.Treatment{Factor: f, SetPer: correlate.SetPer(tr.SetPer), SetsLight: tr.SetsLight})
	}
	if t.AnalyseBy != "" {
		in.By = columnFactor(t, t.AnalyseBy)
	}
	in.Light = lightOf(t, lights)
	for _, o := range t.Outcomes {
		in.Outcomes = append(in.Outcomes, outcomeOf(t, o))
	}
	return in
}

// placeFactor sorts the plants by something of their bins, levels in the order
// of trial.toml; nil where no bin has it.
func placeFactor(t *trial.Trial, name string, of func(light.Bin) string) *correlate.Factor {
	f := &correlate.Factor{Name: name, Codes: make([]int, len(t.Plants))}
	for _, b := range t.Rack.Bins {
		if level := of(b); level != "" {
			indexOrAdd(&f.Levels, level)
		}
	}
	if len(f.Levels) == 0 {
		return nil
	}
	for i, p := range t.Plants {
		f.Codes[i] = correlate.Blank
		if b, ok := t.Rack.Bin(p.Place.Bin); ok {
			f.Codes[i] = slices.Index(f.Levels, of(b))
		}
	}
	return f
}

func indexOrAdd(levels *[]string, level string) int {
	i := slices.Index(*levels, level)
	if i < 0 {
		i = len(*levels)
		*levels = append(*levels, level)
	}
	return i
}

// columnFactor sorts the plants by a column of plants.csv, levels bytewise.
func columnFactor(t *trial.Trial, column string) *correlate.Factor {
	f := &correlate.Factor{Name: column, Codes: make([]int, len(t.Plants))}
	for _, p := range t.Plants {
		if v := p.Columns[column]; v != "" {
			indexOrAdd(&f.Levels, v)
		}
	}
	slices.Sort(f.Levels)
	for i, p := range t.Plants {
		f.Codes[i] = slices.Index(f.Levels, p.Columns[column])
	}
	return f
}

// lightOf is the plants' mean daily light over the window; nil where no plant's
// is known.
func lightOf(t *trial.Trial, lights []account.PlantLight) *correlate.Light {
	l := &correlate.Light{Name: "light", Unit: "mol m⁻² d⁻¹", Raw: true, ByWindow: windowWords(t)}
	known := 0
	for _, p := range lights {
		w := p.Window
		if !w.Known {
			l.Values = append(l.Values, math.NaN())
			l.Independent = append(l.Independent, math.NaN())
			continue
		}
		known++
		l.Scale += math.Hypot(w.Error.Bin, w.Error.All) // a bin's sensors are of one make, most often
		l.Values = append(l.Values, float64(w.MeanDLI))
		l.Independent = append(l.Independent, w.Error.Independent*float64(w.MeanDLI))
		l.Raw = l.Raw && w.Source == account.FromSensor
	}
	if known == 0 {
		return nil
	}
	l.Scale /= float64(known)
	return l
}

func windowWords(t *trial.Trial) string {
	switch w := t.Window; {
	case w.First > 0:
		return fmt.Sprintf("over the first %d days", w.First)
	case w.Last > 0:
		return fmt.Sprintf("over the last %d days", w.Last)
	case !w.From.IsZero():
		return fmt.Sprintf("from %s to %s", w.From, w.To)
	}
	return "from the trial's start to the harvest"
}

// outcomeOf is an outcome with its values over the plants.
func outcomeOf(t *trial.Trial, o trial.Outcome) correlate.Outcome {
	out := correlate.Outcome{
		Name: o.Name, Kind: correlate.Kind(o.Kind), Unit: o.Unit, Basis: o.Basis, Scale: correlate.Scale(o.Scale), Primary: o.Primary,
		Values: make([]float64, len(t.Plants)),
	}
	switch {
	case o.Matters.Share > 0:
		out.Matters = &correlate.Difference{Value: o.Matters.Share, Share: true}
	case o.Matters.Absolute > 0:
		out.Matters = &correlate.Difference{Value: o.Matters.Absolute}
	}
	again := make([]float64, len(t.Plants))
	for i, p := range t.Plants {
		out.Values[i], again[i] = math.NaN(), math.NaN()
		if cell, ok := p.Values[o.Name]; ok {
			out.Values[i] = cell.Value
			if cell.HasAgain {
				again[i] = cell.Again
				out.Again = again
			}
		}
	}
	out.Start, out.Exposure = numbersOf(t, o.Start), numbersOf(t, o.Exposure)
	if len(o.Only) > 0 {
		out.Only = make([]bool, len(t.Plants))
		out.OnlyText = onlyText(o.Only)
		for i, p := range t.Plants {
			out.Only[i] = true
			for column, value := range o.Only {
				out.Only[i] = out.Only[i] && p.Columns[column] == value
			}
		}
	}
	return out
}

// onlyText words which plants an outcome is about: "species = Peperomia".
func onlyText(only map[string]string) string {
	parts := make([]string, 0, len(only))
	for _, column := range slices.Sorted(maps.Keys(only)) {
		parts = append(parts, column+" = "+only[column])
	}
	return strings.Join(parts, ", ")
}

// numbersOf is a numeric column of the plants; nil for "".
func numbersOf(t *trial.Trial, column string) *correlate.Column {
	if column == "" {
		return nil
	}
	c := &correlate.Column{Name: column, Values: make([]float64, len(t.Plants))}
	for i := range t.Plants {
		v, ok := t.Plants[i].Number(column)
		if !ok {
			v = math.NaN()
		}
		c.Values[i] = v
	}
	return c
}
