package analysis

import (
	"slices"
	"strings"

	"parstead/correlate/deal"
)

// Kind is what an outcome's values are.
type Kind string

// The kinds of outcome.
const (
	Measure Kind = "measure" // a quantity: mass, length
	Count   Kind = "count"   // whole numbers of events: leaves, plantlets
	YesNo   Kind = "yes_no"  // whether something happened
)

// Scale is the scale on which a measure is analysed.
type Scale string

// The scales.
const (
	Natural Scale = "natural"
	Log     Scale = "log" // natural logarithm
)

// SetPer is what got a treatment as a whole and is its replicate, as it was dealt.
type SetPer = deal.SetPer

// What a treatment may be set per.
const (
	PerPlant     = deal.PerPlant
	PerBin       = deal.PerBin
	PerReservoir = deal.PerReservoir
	Given        = deal.Given
)

// Factor is a column of labels, one a row.
type Factor struct {
	Name   string
	Levels []string // the first is the reference
	Codes  []int    // index into Levels; Blank where the cell is empty
}

// Blank is the code of an empty cell of a Factor.
const Blank = -1

// Column is a column of numbers, one a row; NaN where the cell is empty.
type Column struct {
	Name   string
	Values []float64
}

// Treatment is a factor that was applied, or with Given that came with the plant.
type Treatment struct {
	Factor
	SetPer    SetPer
	SetsLight bool // acts through light: never adjusted for light
}

// Light is the light figure of each plant that is tested.
type Light struct {
	Name string // the table's column, or "light"
	Unit string // "mol m⁻² d⁻¹" from a folder, "" from a table
	// Values is one figure a row: from a folder the mean daily light integral
	// over the light window; NaN where not known.
	Values []float64
	// Independent is the standard deviation, in Values' unit, of the part of each
	// figure's error that neither a bin nor a calibration shares; nil where unknown.
	Independent []float64
	// Raw tells that each figure comes from readings of the plant's own (a sensor
	// there, an unsmoothed survey), so that independent error shrinks the slope.
	Raw bool
	// Scale is one standard deviation of the scale that figures share (that of the
	// meter and of the bins' sensors), as a share; 0 where not known.
	Scale float64
	// ByWindow words the window, for findings: "over the whole trial".
	ByWindow string
}

// Difference is a difference between two levels: absolute in the outcome's
// unit, or a share of the reference level's mean.
type Difference struct {
	Value float64
	Share bool // Value is a share: 0.1 for 10 %
}

// Outcome is one thing that was weighed, counted or seen on every plant.
type Outcome struct {
	Name     string
	Kind     Kind
	Unit     string
	Basis    string      // fresh or dry; "" where not said
	Values   []float64   // one a row, NaN missing; yes_no: 1 or 0
	Again    []float64   // the second weighing; nil where there is none
	Start    *Column     // nil where none: the covariate is its natural log on a log scale
	Scale    Scale       // "" means Natural
	Only     []bool      // rows that the outcome is about; nil: all
	OnlyText string      // words for Only: "species = Peperomia"
	Exposure *Column     // of a count; nil where every row counts alike
	Primary  bool        // the one planned answer
	Planned  bool        // stood in the plan that was sealed before the trial
	Matters  *Difference // nil where not said
}

// Status is what became of a plant.
type Status uint8

// What can become of a plant.
const (
	Harvested Status = iota
	Lost
	Withdrawn // taken out on purpose: missing, and no loss
)

var statusNames = []string{Harvested: "harvested", Lost: "lost", Withdrawn: "withdrawn"}

func (s Status) String() string { return statusNames[s] }

// ParseStatus reads a status by its name, in any case.
func ParseStatus(name string) (s Status, ok bool) {
	i := slices.Index(statusNames, strings.ToLower(name))
	return Status(max(i, 0)), i >= 0
}

// Accident is the cause of a loss that is no treatment's loss.
const Accident = "accident"

// Input is a trial's plants, a row each, and what is asked of them. Every
// column has one entry a row.
type Input struct {
	Plants     []string // the plants' codes, or the rows' numbers of a table
	Treatments []Treatment
	Block      *Factor // nil where none
	Bin        *Factor
	Reservoir  *Factor
	Row        []int // grid rows and columns counted from 1, 0 where blank; nil where unknown
	Column     []int
	Covariates []Column // one that differs between bins only is refused: the bins stand for it
	Light      *Light
	By         *Factor // each level gets results of its own; nil: one result
	Outcomes   []Outcome

	Guard    []bool   // edge plants that are not analysed; nil: none
	Status   []Status // nil: all harvested
	Cause    []string // of a loss: rot, pest, dried, accident, unknown
	LeaveOut []string // a reason to leave the plant out, "" for none; nil: none

	// Edge tells whether a plant stands on its bin's rim; nil: derived from the
	// least and greatest Row and Column of the bin.
	Edge []bool
	// BinPositions is how many positions each of Bin.Levels has; nil where that is
	// not known.
	BinPositions []int

	// Dealt is the record of the layout that dealt the plants by the codes in Plants,
	// nil where no such procedure dealt them.
	Dealt *deal.Record
	// Table tells that the rows come from a flat table: nothing is primary, and
	// labels of plant treatments are taken to have been dealt freely within bins.
	Table bool
	// Electricity is what is known of the current without a harvest; nil where nothing
	// is asked of it. It needs Bin.
	Electricity *Electricity
	// Departures from the sealed plan that the caller knows of, as sentences.
	Departures []string
	// Early is set where the results are read before the trial ends.
	Early bool
}
