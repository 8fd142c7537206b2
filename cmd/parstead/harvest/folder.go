// Package harvest makes the input of the harvest's analysis: of a trial's folder
// with the light of each plant, or of a flat table.
package harvest

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/plan"
	"parstead/light"
	"parstead/light/account"
	"parstead/store"
)

// Harvest is a trial with the input of its analysis.
type Harvest struct {
	Trial   *trial.Trial
	Input   *correlate.Input
	Remarks []string // what of surveys and sensors is not used
}

// Read reads a trial's folder: its plants with the light of the positions they
// held. Interactions tells that they will be added to the planned model.
func Read(ctx context.Context, folder string, now time.Time, interactions bool) (*Harvest, error) {
	t, err := trial.Open(folder)
	if err != nil {
		return nil, err
	}
	if !t.Dealt {
		return nil, fmt.Errorf("%s has no layout.csv: deal one with parstead layout %s", folder, folder)
	}
	if len(t.Outcomes) == 0 {
		return nil, fmt.Errorf("trial.toml names no [[outcome]]: say what was weighed, counted or seen")
	}
	if !t.Harvested() {
		return nil, fmt.Errorf("%s has no harvest yet: write harvest.csv, a row a plant with its code under plant and a column for each outcome (%s)", folder, t.Outcomes[0].Name)
	}
	view, err := store.OpenFolder(ctx, folder)
	if err != nil {
		return nil, err
	}
	defer view.Close() //nolint:errcheck // it only read
	lightAccount := account.New(&t.Rack, view, account.Options{Now: func() time.Time { return now }})
	lights, remarks, err := lightAccount.PlantsAndRemarks(ctx, t.Stays(), t.Window)
	if err != nil {
		return nil, err
	}
	log, err := view.Events(ctx)
	if err != nil {
		return nil, err
	}
	h, err := Of(t, lights, log, now, interactions)
	if err != nil {
		return nil, err
	}
	h.Remarks = remarks
	h.Input.Electricity, err = electricityOf(ctx, t, now, lightAccount, log, lights)
	return h, err
}

// Of is a trial whose light and log are known. It marks what was planned, finds
// departures from the plan and hands on how the plants were dealt.
func Of(t *trial.Trial, lights []account.PlantLight, log []light.Event, now time.Time, interactions bool) (*Harvest, error) {
	in := inputOf(t, lights)
	in.Early = now.Before(t.Rack.Trial().Until)
	h := &Harvest{Trial: t, Input: in}
	sealed, err := plan.Last(log)
	if err != nil || sealed == nil {
		return h, err
	}
	found := sealed.Against(Plan(t, sealed.Layout), interactions)
	in.Departures = found.Says
	if !found.Relabelled {
		in.Dealt = &sealed.Layout
	}
	for i := range in.Outcomes {
		in.Outcomes[i].Planned = found.Planned[in.Outcomes[i].Name]
	}
	return h, nil
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
		in.Guard[i], in.Status[i], in.Cause[i], in.LeaveOut[i] = p.Guard, p.Status, p.Cause, p.LeaveOut
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
		in.Treatments = append(in.Treatments, correlate.Treatment{Factor: f, SetPer: tr.SetPer, SetsLight: tr.SetsLight})
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
	l := &correlate.Light{Name: "light", Unit: "mol m⁻² d⁻¹", Raw: true, ByWindow: WindowWords(t)}
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

// WindowWords says over which days light is counted.
func WindowWords(t *trial.Trial) string {
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
		Name: o.Name, Kind: o.Kind, Unit: o.Unit, Basis: o.Basis, Scale: o.Scale, Primary: o.Primary,
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
		for i := range t.Plants {
			out.Only[i] = o.Concerns(&t.Plants[i])
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

// Title is the trial's name and its days; "" of a flat table.
func (h *Harvest) Title() string {
	if h.Trial == nil {
		return ""
	}
	return fmt.Sprintf("%s, %s to %s", h.Trial.Name, h.Trial.Rack.Starts, h.Trial.Rack.Ends)
}
