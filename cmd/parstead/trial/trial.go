// Package trial reads a trial's folder (trial.toml and its sheets) strictly and
// hands every other package its part in that package's own types. Whatever is
// wrong is found in one run and told with file, line, column and mend.
package trial

import (
	"slices"
	"strconv"
	"time"

	"parstead/ingest"
	"parstead/light"
	"parstead/light/account"
)

// Trial is one trial's folder, read and checked. Paths in it are ready to open.
type Trial struct {
	Dir, Name string

	Rack        light.Rack    // with the survey; placeholders in sensors resolved to one sensor a position
	FactorsFrom []string      // how the lux per PPFD of each of Rack.Lamps was given: "given", "spectrum bar.csv", "CIE illuminant FL2"; "" for none
	Feeds       []ingest.Feed // where readings arrive, in the order of trial.toml
	Treatments  []Treatment
	Outcomes    []Outcome
	AnalyseBy   string // a column of Plants; "" where results are not split
	Window      Window // the light figure that is tested

	Plants  []Plant  // in the order of layout.csv; of plants.csv before plants are dealt
	Columns []string // headings of the plants' columns, in the order of the sheets
	Counts  []Count  // in the order of counts.csv
	Moves   []Move   // in order of time
	Dealt   bool     // whether there is a layout

	Broker Broker
	Page   Page
	Tell   *Tell   // nil where the grower wants no messages
	Backup *Backup // nil where none is set
	Cost   *Cost   // nil where not given
	Loads  []Appliance
}

// SetPer says what got a treatment as a whole and is therefore its replicate.
type SetPer string

// What a treatment may be set per.
const (
	PerPlant     SetPer = "plant"
	PerBin       SetPer = "bin"
	PerReservoir SetPer = "reservoir"
	Given        SetPer = "given" // the plant came with it: never dealt
)

// Treatment is what is compared.
type Treatment struct {
	Name      string
	Levels    []string // the first is the reference
	SetPer    SetPer
	SetsLight bool // acts through light, so is never adjusted for light
}

// Kind says how an outcome is recorded.
type Kind string

// The kinds of outcome.
const (
	Measure Kind = "measure"
	Counted Kind = "count"
	YesNo   Kind = "yes_no"
)

// Scale says whether an outcome is analysed as it stands or as its natural
// logarithm.
type Scale string

// The scales.
const (
	Natural Scale = "natural"
	Log     Scale = "log"
)

// Outcome is what was weighed, counted or judged at the end.
type Outcome struct {
	Name              string
	Kind              Kind
	Unit              string
	Basis, StartBasis string // "fresh", "dry" or ""
	Start             string // the column with the starting value; "" for none
	Scale             Scale
	Primary           bool
	Matters           Matters           // the smallest difference worth acting on
	Only              map[string]string // column: the value that a plant must have to count
	Exposure          string            // the column of a count's exposure; "" for none
}

// Matters is the smallest difference worth acting on: a share of the other
// mean, or a difference in the outcome's unit. Both are zero where none is
// given.
type Matters struct {
	Share, Absolute float64
}

// Window is a choice of a plant's light days. The zero Window is all of them.
type Window struct {
	First, Last int        // the first or the last so many days; 0 where not chosen so
	From, To    light.Date // both included; zero where not chosen so
}

// Within is the window's first and last day for a plant whose light days are
// from through to. ok is false if the plant has none of the window's days.
func (w Window) Within(from, to light.Date) (first, last light.Date, ok bool) {
	first, last = from, to
	switch {
	case w.First > 0:
		if end := from.Add(w.First - 1); end.Before(last) {
			last = end
		}
	case w.Last > 0:
		if start := to.Add(1 - w.Last); first.Before(start) {
			first = start
		}
	case !w.From.IsZero():
		if first.Before(w.From) {
			first = w.From
		}
		if w.To.Before(last) {
			last = w.To
		}
	}
	return first, last, !last.Before(first)
}

// Status is what became of a plant.
type Status string

// What may become of a plant. A plant without a harvest row has none of these.
const (
	Harvested Status = "harvested"
	Lost      Status = "lost"
	Withdrawn Status = "withdrawn"
)

// Plant is one plant with its place, what it came with and what became of it.
type Plant struct {
	Code       string
	Columns    map[string]string // every column of plants.csv and layout.csv by its heading; blank cells are absent
	Place      light.Position    // as dealt; zero where there is no layout
	Treatments map[string]string // treatment: level; blank cells are absent
	Guard      bool              // an edge plant that is not analysed
	Stays      []light.Stay      // the positions it held from the trial's start to its end, in order

	HasHarvest bool            // whether harvest.csv has a row for it
	Date       light.Date      // the last day whose light counts: its harvest, its loss, else the trial's end
	Status     Status          // "" where there is no row
	LostOn     light.Date      // zero where not lost, or not said
	Cause      string          // of the loss: rot, pest, dried, accident, unknown, or ""
	LeaveOut   string          // the reason to leave it out of the results; "" for none
	Values     map[string]Cell // outcome: what was found; an outcome without a value is absent
}

// Number is a column of the plant as a number; ok is false where it is blank
// or is no number.
func (p *Plant) Number(column string) (value float64, ok bool) {
	value, err := strconv.ParseFloat(p.Columns[column], 64)
	return value, err == nil
}

// Cell is one outcome of one plant in the outcome's unit, tare taken off.
// Counts are whole numbers; yes is 1 and no is 0.
type Cell struct {
	Value    float64
	Again    float64 // the second weighing
	HasAgain bool
	Counted  bool // taken from counts.csv: the last count up to the harvest date
}

// Count is a measurement during the season.
type Count struct {
	At      time.Time
	Plant   string
	Outcome string
	Value   float64
}

// Move is a plant's change of place.
type Move struct {
	At       time.Time
	Plant    string
	Position light.Position
}

// Plant finds a plant by its code.
func (t *Trial) Plant(code string) (*Plant, bool) {
	for i := range t.Plants {
		if t.Plants[i].Code == code {
			return &t.Plants[i], true
		}
	}
	return nil, false
}

// Outcome finds an outcome by name.
func (t *Trial) Outcome(name string) (Outcome, bool) {
	for _, o := range t.Outcomes {
		if o.Name == name {
			return o, true
		}
	}
	return Outcome{}, false
}

// Path joins a file's name to the trial's folder; an absolute name stays.
func (t *Trial) Path(name string) string { return inDir(t.Dir, name) }

// Harvested tells whether harvest.csv has a row for any plant.
func (t *Trial) Harvested() bool {
	return slices.ContainsFunc(t.Plants, func(p Plant) bool { return p.HasHarvest })
}

// Stays are the plants' stays as the light account takes them, in the plants' order.
func (t *Trial) Stays() []account.PlantStay {
	stays := make([]account.PlantStay, len(t.Plants))
	for i := range t.Plants {
		p := &t.Plants[i]
		stays[i] = account.PlantStay{Code: p.Code, Stays: p.Stays, Until: p.Date}
	}
	return stays
}
