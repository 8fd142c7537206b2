// Package page shows a running trial: the status page, the metrics, and the
// answers to whether the daemon is alive and ready. It decides nothing: the
// daemon gives it a State, and the page and the metrics are two views of it.
package page

import (
	"time"

	"parstead/light"
	"parstead/light/watch"
)

// State is what is known of the trial at one moment.
type State struct {
	Trial      string
	Now        time.Time
	Calendar   light.Calendar
	Day        light.Date // the light day that is running
	Starts     light.Date
	Ends       light.Date
	Conditions []watch.Condition // what is wrong, gravest first
	Judged     bool              // whether Conditions are known: not in the first moments
	Refused    []Refused         // what came in lately and was no reading
	Notices    []string          // what else is worth knowing
	Bins       []Bin
	OffTarget  float64 // share of its target by which a bin's day counts as off it
	Plants     []Standing
	Harvest    *Progress // nil before the trial has ended
	Sensors    []Sensor
	Unsent     []Unsent // messages that could not be sent so far
	Tasks      []string // what the grower has to do next
	Log        []light.Event
	Connected  bool   // whether the broker answers
	Broker     string // where the broker is
}

// Refused is what came in for one sensor and was refused for one reason.
type Refused struct {
	Sensor string // "" for a topic that no sensor has
	Why    string
	Count  int
	Last   time.Time
}

// Unsent is a message to the grower that could not be sent so far.
type Unsent struct {
	Says  string
	Tries int
	Why   string // the last try failed
}

// Standing is a plant as the page names it: no treatment, nothing that was scored.
type Standing struct {
	Code, Bin string
	Fate      string // "" while it stands
	Why       string // of a loss
	On        string // of a loss
}

// Path is where the plant's page is.
func (p Standing) Path() string { return plantPath(p.Code) }

// Progress is how far the harvest of a trial that has ended has come.
type Progress struct {
	In, Out int    // plants that are written down, and those still to come
	Next    string // the bin where most of those stand
	ThereIn int    // how many of them
}

// Level is what a bin got of a treatment that bins or reservoirs get as a whole.
type Level struct{ Treatment, Level string }

// Bin is a bin with the light of its positions, in mol m⁻² d⁻¹.
type Bin struct {
	light.Bin
	Levels   []Level   // of the treatments that it got as a whole
	Standing int       // plants that stand there
	Map      string    // which light map is in use, in words
	Coverage float64   // share of the running day so far that readings cover
	Due      light.DLI // by this hour, from the target or from the last days
	HasDue   bool
	Cells    []Cell  // by light.Bin.Index
	Season   *Season // the light days that are over; nil before it is known
}

// Cell is one position.
type Cell struct {
	Today, Yesterday Figure
	Total            Figure // since the trial's start, mol m⁻²
	Plant            string
}

// Figure is an amount of light with how it came to be. An unknown one is zero
// and not Known.
type Figure struct {
	DLI      light.DLI
	Known    bool
	Measured bool // a sensor at that very position; else estimated
	Source   string
	Error    float64 // relative, one standard deviation
	Shared   float64 // the part of Error that the whole bin has alike
	Filled   float64 // share of DLI that no reading stands behind
}

// Sensor is a sensor with its newest reading, in the unit of what it measures.
type Sensor struct {
	light.Sensor
	Heard bool
	Value float64
	At    time.Time
	PPFD  light.PPFD // of a light sensor
	Raw   float64    // as it was sent

	Saturated bool   // Raw is a mark that light sensors send in place of a measurement
	Timeless  string // why its newest message is not used for want of a time; "" for no such trouble
}

// Usable tells whether the newest reading may stand for now.
func (s Sensor) Usable(now time.Time) bool { return s.Lately(now) && !s.Saturated }

// Age is how long ago the sensor was last heard.
func (s Sensor) Age(now time.Time) time.Duration { return now.Sub(s.At) }

// Overdue tells whether the sensor should have been heard again by now.
func (s Sensor) Overdue(now time.Time) bool { return !s.Heard || s.Age(now) > s.MaxGap }

// Lately tells whether the sensor was heard lately: not too long ago, and not at a
// time that is still to come.
func (s Sensor) Lately(now time.Time) bool { return !s.Overdue(now) && !light.Ahead(s.At, now) }
