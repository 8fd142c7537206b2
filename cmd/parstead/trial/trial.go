// Package trial reads a trial's folder (trial.toml and its sheets) strictly and
// hands every other package its part in that package's own types. Whatever is
// wrong is found in one run and told with file, line, column and mend.
package trial

import (
	"slices"
	"strconv"
	"time"

	"parstead/correlate/analysis"
	"parstead/correlate/plan"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/account"
)

// Trial is one trial's folder, read and checked. Paths in it are ready to open.
type Trial struct {
	Dir, Name string

	Rack        light.Rack    // with the survey; placeholders in sensors resolved to one sensor a position
	FactorsFrom []string      // how the lux per PPFD of each of Rack.Lamps was given: "given", "spectrum bar.csv", "CIE illuminant FL2"; "" for none
	Spectra     []string      // the files of those that are read
	Feeds       []ingest.Feed // where readings arrive, in the order of trial.toml
	shared      []bool        // of each of Feeds, whether another trial is meant to count it too
	Treatments  []plan.Treatment
	Outcomes    []Outcome
	AnalyseBy   string         // a column of Plants; "" where results are not split
	Window      account.Window // the light figure that is tested

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

// Outcome is what was weighed, counted or judged at the end.
type Outcome struct {
	plan.Outcome
	Unit              string
	Basis, StartBasis string // "fresh", "dry" or ""
	Gross             bool   // harvest.csv has it with the dish, and the dish alone
}

// Concerns tells whether the outcome is asked of the plant.
func (o Outcome) Concerns(p *Plant) bool {
	for column, value := range o.Only {
		if p.Columns[column] != value {
			return false
		}
	}
	return true
}

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
	Status     analysis.Status // harvested where there is no row
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

// HarvestIn tells whether every plant that is analysed has its line in harvest.csv.
func (t *Trial) HarvestIn() bool {
	return t.Harvested() && !slices.ContainsFunc(t.Plants, func(p Plant) bool { return !p.Guard && !p.HasHarvest })
}

// Scored tells whether nothing of the plant is left to be scored: the harvest is
// in, and the plant is gone, left out, or has a value of all that is asked of it.
// Until then neither its treatment nor what was scored of it is to be shown.
func (t *Trial) Scored(p *Plant) bool {
	if !t.HarvestIn() {
		return false
	}
	if p.Status != analysis.Harvested || p.LeaveOut != "" {
		return true
	}
	return !slices.ContainsFunc(t.Outcomes, func(o Outcome) bool {
		_, known := p.Values[o.Name]
		return o.Concerns(p) && !known
	})
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
