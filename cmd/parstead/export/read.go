package export

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/table"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/plan"
	"parstead/light"
	"parstead/light/account"
)

// analysisAsked is what an export's description says of the analysis, so that it
// can be done again without the trial's folder.
type analysisAsked struct {
	AnalyseBy   string           `json:"analyse_by,omitempty"`
	LightWindow windowAsked      `json:"light_window"`
	Bins        []binDescribed   `json:"bins"`
	Treatments  []plan.Treatment `json:"treatments"`
	Outcomes    []outcomeAsked   `json:"outcomes"`
}

// windowAsked is a light window; nothing of it: the whole trial.
type windowAsked struct {
	First int         `json:"first,omitempty"`
	Last  int         `json:"last,omitempty"`
	From  *light.Date `json:"from,omitempty"`
	To    *light.Date `json:"to,omitempty"`
}

type binDescribed struct {
	Name      string `json:"name"`
	Rows      int    `json:"rows"`
	Columns   int    `json:"columns"`
	Block     string `json:"block,omitempty"`
	Reservoir string `json:"reservoir,omitempty"`
}

type outcomeAsked struct {
	plan.Outcome
	Unit  string `json:"unit,omitempty"`
	Basis string `json:"basis,omitempty"`
}

func analysisOf(t *trial.Trial) analysisAsked {
	a := analysisAsked{AnalyseBy: t.AnalyseBy, LightWindow: windowAsked{First: t.Window.First, Last: t.Window.Last}}
	if w := t.Window; !w.From.IsZero() {
		a.LightWindow.From, a.LightWindow.To = &w.From, &w.To
	}
	for _, b := range t.Rack.Bins {
		a.Bins = append(a.Bins, binDescribed{b.Name, b.Rows, b.Columns, b.Block, b.Reservoir})
	}
	a.Treatments = t.Treatments
	for _, o := range t.Outcomes {
		a.Outcomes = append(a.Outcomes, outcomeAsked{o.Outcome, o.Unit, o.Basis})
	}
	return a
}

// Exported is a trial read back from an export: what its analysis needs.
type Exported struct {
	Trial  *trial.Trial
	Lights []account.PlantLight
	Log    []light.Event
}

// exportDescription is what is read of the descriptor, or of description.json as
// exports of earlier versions have it.
type exportDescription struct {
	Trial     string                     `json:"trial"`
	Timezone  string                     `json:"timezone"`
	DayStarts string                     `json:"day_starts"`
	Starts    light.Date                 `json:"starts"`
	Ends      light.Date                 `json:"ends"`
	Files     []SheetMeaning             `json:"files"`
	Analysis  *analysisAsked             `json:"analysis"`
	LogData   map[uint64]json.RawMessage `json:"log_data"`

	file string // that it was read from
}

// descriptions are the files that may describe an export, the present one first.
var descriptions = []struct {
	file string
	read func(text []byte, d *exportDescription) error
}{
	{Descriptor, func(text []byte, d *exportDescription) error {
		var p struct {
			Resources []resource         `json:"resources"`
			Parstead  *exportDescription `json:"parstead"`
		}
		if err := json.Unmarshal(text, &p); err != nil {
			return err
		}
		if p.Parstead == nil {
			return errors.New("it describes no trial of parstead")
		}
		*d = *p.Parstead
		for _, r := range p.Resources {
			if r.Schema == nil {
				continue
			}
			s := SheetMeaning{File: r.Path}
			if r.Rows != nil {
				s.Rows = *r.Rows
			}
			for _, f := range r.Schema.Fields {
				s.Columns = append(s.Columns, f.meaning())
			}
			d.Files = append(d.Files, s)
		}
		return nil
	}},
	{"description.json", func(text []byte, d *exportDescription) error { return json.Unmarshal(text, d) }},
}

// Is tells whether a folder holds an export and no trial.
func Is(dir string) bool {
	_, err := os.Stat(filepath.Join(dir, "trial.toml"))
	if !errors.Is(err, fs.ErrNotExist) {
		return false
	}
	for _, x := range descriptions {
		if _, err := os.Stat(filepath.Join(dir, x.file)); err == nil {
			return true
		}
	}
	return false
}

// describedBy reads whichever description is there.
func describedBy(dir string) (d exportDescription, err error) {
	for _, x := range descriptions {
		file := filepath.Join(dir, x.file)
		text, err := os.ReadFile(file)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return d, fmt.Errorf("read the export: %w", err)
		}
		if err := x.read(text, &d); err != nil {
			return d, fmt.Errorf("%s is not as parstead export wrote it (%w): export the trial again", file, err)
		}
		d.file = file
		return d, nil
	}
	return d, fmt.Errorf("read the export: %s has no %s", dir, Descriptor)
}

// Read reads an export back.
func Read(dir string) (*Exported, error) {
	d, err := describedBy(dir)
	if err != nil {
		return nil, err
	}
	if d.Analysis == nil {
		return nil, fmt.Errorf("%s was exported by a version that left out what the analysis asks: export the trial again, or name its own folder", dir)
	}
	if err := d.Analysis.valid(); err != nil {
		return nil, fmt.Errorf("%s: %w: export the trial again", d.file, err)
	}
	x := &Exported{Trial: d.asTrial()}
	if x.Trial.Rack.Zone, err = time.LoadLocation(d.Timezone); err == nil {
		x.Trial.Rack.DayStarts, err = light.ParseTimeOfDay(d.DayStarts)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w: export the trial again", d.file, err)
	}
	if err := x.readPlants(dir, d.columns("plants.csv")); err != nil {
		return nil, err
	}
	return x, x.readLog(dir, &d)
}

// mostInBin is far more rows or columns than a bin of a trial may have.
const mostInBin = 10000

// valid tells whether the words that say what is asked are ones that the program
// writes.
func (a *analysisAsked) valid() error {
	names := map[string]bool{}
	once := func(what, name string) error {
		key := what + " " + name
		if name == "" || names[key] {
			return fmt.Errorf("a %s is called %q, or two are", what, name)
		}
		names[key] = true
		return nil
	}
	for _, b := range a.Bins {
		if err := once("bin", b.Name); err != nil {
			return err
		}
		if b.Rows < 1 || b.Columns < 1 || b.Rows > mostInBin || b.Columns > mostInBin {
			return fmt.Errorf("bin %q has %d rows of %d", b.Name, b.Rows, b.Columns)
		}
	}
	for _, t := range a.Treatments {
		if err := once("treatment", t.Name); err != nil {
			return err
		}
		if !slices.Contains([]analysis.SetPer{analysis.PerPlant, analysis.PerBin, analysis.PerReservoir, analysis.Given}, t.SetPer) || len(t.Levels) == 0 {
			return fmt.Errorf("treatment %q is set per %q and has %d levels", t.Name, t.SetPer, len(t.Levels))
		}
	}
	for _, o := range a.Outcomes {
		if err := once("outcome", o.Name); err != nil {
			return err
		}
		if _, err := kind.Parse(string(o.Kind)); err != nil {
			return err
		}
		if !slices.Contains([]analysis.Scale{"", analysis.Natural, analysis.Log}, o.Scale) {
			return fmt.Errorf("the scale of %q is %q", o.Name, o.Scale)
		}
	}
	return nil
}

// asTrial is what the description says of the trial.
func (d *exportDescription) asTrial() *trial.Trial {
	t := &trial.Trial{Name: d.Trial, AnalyseBy: d.Analysis.AnalyseBy, Dealt: true}
	t.Rack.Starts, t.Rack.Ends = d.Starts, d.Ends
	w := d.Analysis.LightWindow
	t.Window = account.Window{First: w.First, Last: w.Last}
	if w.From != nil && w.To != nil {
		t.Window.From, t.Window.To = *w.From, *w.To
	}
	for _, b := range d.Analysis.Bins {
		t.Rack.Bins = append(t.Rack.Bins, light.Bin{Name: b.Name, Rows: b.Rows, Columns: b.Columns, Block: b.Block, Reservoir: b.Reservoir})
	}
	t.Treatments = d.Analysis.Treatments
	for _, o := range d.Analysis.Outcomes {
		t.Outcomes = append(t.Outcomes, trial.Outcome{Outcome: o.Outcome, Unit: o.Unit, Basis: o.Basis})
	}
	return t
}

// headings are those of an exported sheet: those of the trial's own
// sheets by their name there, and the program's own by the name it meant.
type headings struct {
	file, described string
	trial, own      map[string]string
}

func (d *exportDescription) columns(file string) headings {
	c := headings{file, d.file, map[string]string{}, map[string]string{}}
	for _, f := range d.Files {
		if f.File != file {
			continue
		}
		for _, k := range f.Columns {
			if k.Of != "" {
				c.trial[k.Of] = k.Name
			} else {
				c.own[strings.TrimRight(k.Name, "_")] = k.Name
			}
		}
	}
	return c
}

// readPlants reads plants.csv.
func (x *Exported) readPlants(dir string, columns headings) error {
	own := []string{"plant", "bin", "row", "column", "guard", "light_dli", "light_relative_error", "light_independent_error", "light_source", "status", "date", "cause", "leave_out"}
	var used []string
	for _, name := range own {
		heading, ok := columns.own[name]
		if !ok {
			return fmt.Errorf("%s tells of no column %s of plants.csv: export the trial again", columns.described, name)
		}
		used = append(used, heading)
	}
	for _, heading := range columns.trial {
		used = append(used, heading)
	}
	sheet, err := table.Read(filepath.Join(dir, columns.file), used)
	if err != nil {
		return err
	}
	x.Trial.Plants, x.Lights = make([]trial.Plant, sheet.Len()), make([]account.PlantLight, sheet.Len())
	text := func(name string) []string { return sheet.Text(columns.own[name]) }
	row, err := harvest.Places(sheet, columns.own["row"])
	if err != nil {
		return err
	}
	column, err := harvest.Places(sheet, columns.own["column"])
	if err != nil {
		return err
	}
	codes, bins, guards := text("plant"), text("bin"), text("guard")
	status, dates, causes, leaveOut := text("status"), text("date"), text("cause"), text("leave_out")
	for i := range x.Trial.Plants {
		p := &x.Trial.Plants[i]
		*p = trial.Plant{
			Code: codes[i], Place: light.Position{Bin: bins[i], Row: row[i], Column: column[i]}, Guard: guards[i] == "yes",
			HasHarvest: status[i] != "", Cause: causes[i], LeaveOut: leaveOut[i],
			Columns: map[string]string{}, Treatments: map[string]string{}, Values: map[string]trial.Cell{},
		}
		if p.HasHarvest {
			var known bool
			if p.Status, known = analysis.ParseStatus(status[i]); !known {
				return sheet.Fault(i, columns.own["status"], fmt.Sprintf("the status can't be %q: export the trial again", status[i]))
			}
		}
		if dates[i] != "" {
			if p.Date, err = light.ParseDate(dates[i]); err != nil {
				return sheet.Fault(i, columns.own["date"], err.Error())
			}
		}
	}
	x.readColumns(sheet, columns)
	if err := x.readOutcomes(sheet, columns); err != nil {
		return err
	}
	return x.readLight(sheet, columns)
}

// readColumns takes what the plants came with and got.
func (x *Exported) readColumns(sheet *table.Table, columns headings) {
	for name, heading := range columns.trial {
		isTreatment := slices.ContainsFunc(x.Trial.Treatments, func(t plan.Treatment) bool { return t.Name == name })
		for i, cell := range sheet.Text(heading) {
			if cell == "" {
				continue
			}
			x.Trial.Plants[i].Columns[name] = cell
			if isTreatment {
				x.Trial.Plants[i].Treatments[name] = cell
			}
		}
	}
}

func (x *Exported) readOutcomes(sheet *table.Table, columns headings) error {
	for _, o := range x.Trial.Outcomes {
		heading, ok := columns.trial[o.Name]
		if !ok {
			return fmt.Errorf("%s has no column of the outcome %s: export the trial again", columns.file, o.Name)
		}
		read := sheet.Numbers
		if kind.Of(o.Kind).Answers {
			read = sheet.YesNo
		}
		values, err := read(heading)
		if err != nil {
			return err
		}
		for i, v := range values {
			if !math.IsNaN(v) {
				x.Trial.Plants[i].Values[o.Name] = trial.Cell{Value: v}
			}
		}
	}
	return nil
}

func (x *Exported) readLight(sheet *table.Table, columns headings) error {
	var figures [3][]float64
	for k, name := range []string{"light_dli", "light_relative_error", "light_independent_error"} {
		var err error
		if figures[k], err = sheet.Numbers(columns.own[name]); err != nil {
			return err
		}
	}
	sources := sheet.Text(columns.own["light_source"])
	for i := range x.Lights {
		x.Lights[i].Code = x.Trial.Plants[i].Code
		dli, all, own := figures[0][i], figures[1][i], figures[2][i]
		if math.IsNaN(dli) {
			continue
		}
		w := &x.Lights[i].Window
		w.Known, w.MeanDLI = true, light.DLI(dli)
		w.Error = account.Error{Independent: own, Bin: math.Sqrt(max(0, all*all-own*own))}
		for s := account.FromSensor; s <= account.FromTimer; s++ {
			if s.String() == sources[i] {
				w.Source = s
			}
		}
	}
	return nil
}

// readLog takes from the log what plan.Last reads: entries with what the program kept
// in them.
func (x *Exported) readLog(dir string, d *exportDescription) error {
	columns := []string{"id", "at", "kind", "withdraws"}
	if i := slices.IndexFunc(d.Files, func(s SheetMeaning) bool { return s.File == logFile }); i < 0 || d.Files[i].Rows == 0 {
		return nil
	}
	if _, own := d.columns(logFile).own["data"]; own {
		columns = append(columns, "data")
	} else if len(d.LogData) == 0 {
		return nil
	}
	sheet, err := table.Read(filepath.Join(dir, logFile), columns)
	if err != nil {
		return err
	}
	number := func(cell string) (uint64, error) {
		if cell == "" {
			return 0, nil
		}
		return strconv.ParseUint(cell, 10, 64)
	}
	ids, at, kinds, withdraws := sheet.Text("id"), sheet.Text("at"), sheet.Text("kind"), sheet.Text("withdraws")
	for i := range ids {
		e := light.Event{Kind: light.Kind(kinds[i])}
		if e.ID, err = number(ids[i]); err != nil {
			return sheet.Fault(i, "id", "not the number of an entry: export the trial again")
		}
		if e.Withdraws, err = number(withdraws[i]); err != nil {
			return sheet.Fault(i, "withdraws", "not the number of an entry: export the trial again")
		}
		if e.At, err = time.Parse(time.RFC3339Nano, at[i]); err != nil {
			return sheet.Fault(i, "at", "not a time: export the trial again")
		}
		e.Data = d.LogData[e.ID]
		if len(columns) > 4 && sheet.Text("data")[i] != "" {
			e.Data = []byte(sheet.Text("data")[i])
		}
		x.Log = append(x.Log, e)
	}
	return nil
}
