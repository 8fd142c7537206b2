package page

import (
	"encoding/json"
	"math"
	"net/http"
	"slices"
	"time"

	"parstead/light"
	"parstead/light/account"
	"parstead/light/watch"
)

// now is the state for other programs, as /now.json gives it. What is not known is
// absent.
type now struct {
	Trial      string            `json:"trial"`
	At         time.Time         `json:"at"`
	Day        int               `json:"day"` // of the trial, from 1
	Days       int               `json:"days"`
	Sentence   string            `json:"sentence"`
	Bins       []binNow          `json:"bins"`
	Sensors    []sensorNow       `json:"sensors"`
	Conditions []watch.Condition `json:"conditions"`
}

type binNow struct {
	Bin        string            `json:"bin"`
	DLI        *float64          `json:"dli,omitempty"` // mean of its positions so far today, mol m⁻²
	Due        *float64          `json:"due,omitempty"` // by now
	Target     *float64          `json:"target,omitempty"`
	LastDay    *float64          `json:"last_day,omitempty"`
	Covered    float64           `json:"covered"`          // share of the day so far that readings bridge
	Source     string            `json:"source,omitempty"` // the weakest of its positions'
	Treatments map[string]string `json:"treatments"`       // that it got as a whole: treatment to level
	Positions  []positionNow     `json:"positions"`
}

type positionNow struct {
	Row     int      `json:"row"`
	Column  int      `json:"column"`
	DLI     *float64 `json:"dli,omitempty"`
	LastDay *float64 `json:"last_day,omitempty"`
	Error   *float64 `json:"error,omitempty"` // of dli, else of last_day: relative, one standard deviation
}

type sensorNow struct {
	Sensor   string     `json:"sensor"`
	Measures string     `json:"measures"`
	Value    *float64   `json:"value,omitempty"` // absent where it is older than the sensor's max_gap
	Unit     string     `json:"unit"`
	At       *time.Time `json:"at,omitempty"` // of its newest reading
}

// giveNow answers with the state for other programs.
func (s *Server) giveNow(w http.ResponseWriter, r *http.Request) {
	state, err := s.config.State(r.Context())
	if err != nil {
		s.config.Log.Error("state not given", "error", err)
		say(w, http.StatusInternalServerError, "The state can't be told now: "+err.Error())
		return
	}
	w.Header().Set("Content-Type", "application/json")
	_ = json.NewEncoder(w).Encode(newNow(state)) // the reader has gone: nobody to tell
}

func newNow(s *State) now {
	n := now{
		Trial: s.Trial, At: s.Now.UTC(), Day: s.Starts.DaysUntil(s.Day) + 1, Days: s.Starts.DaysUntil(s.Ends) + 1,
		Bins: []binNow{}, Sensors: []sensorNow{}, Conditions: append([]watch.Condition{}, s.Conditions...),
	}
	n.Sentence, _ = headline(s)
	for _, b := range s.Bins {
		n.Bins = append(n.Bins, newBinNow(b))
	}
	for _, x := range s.Sensors {
		one := sensorNow{Sensor: x.Name, Measures: x.Measures.String(), Unit: x.Measures.Unit()}
		if x.Heard {
			at := x.At.UTC()
			one.At = &at
		}
		if x.Usable(s.Now) {
			one.Value = finite(x.Value, true)
		}
		n.Sensors = append(n.Sensors, one)
	}
	return n
}

func newBinNow(b Bin) binNow {
	today, known := b.MeanToday()
	last, lastKnown := b.MeanLastDay()
	n := binNow{
		Bin: b.Name, DLI: finite(float64(today), known), Due: finite(float64(b.Due), b.HasDue), Target: finite(float64(b.TargetDLI), b.TargetDLI > 0),
		LastDay: finite(float64(last), lastKnown), Covered: b.Coverage, Treatments: map[string]string{}, Positions: []positionNow{},
	}
	for _, l := range b.Levels {
		n.Treatments[l.Treatment] = l.Level
	}
	weakest := -1
	for i, p := range b.Positions() {
		c := b.Cells[i]
		one := positionNow{
			Row: p.Row, Column: p.Column, DLI: finite(float64(c.Today.DLI), c.Today.Known),
			LastDay: finite(float64(c.Yesterday.DLI), c.Yesterday.Known), Error: finite(c.shown().Error, c.shown().Known),
		}
		n.Positions = append(n.Positions, one)
		if c.shown().Known {
			weakest = max(weakest, slices.Index(sourceNames, c.shown().Source))
		}
	}
	if weakest >= 0 {
		n.Source = sourceNames[weakest]
	}
	return n
}

// sourceNames are those of light, the strongest first.
var sourceNames = func() (names []string) {
	for s := account.FromSensor; s <= account.FromTimer; s++ {
		names = append(names, s.String())
	}
	return names
}()

// finite is a figure that is known, else nothing.
func finite(v float64, known bool) *float64 {
	if !known || math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// MeanToday is the light of the running day so far, the mean of the positions where it
// is known; known is false where it is at none.
func (b *Bin) MeanToday() (light.DLI, bool) {
	return b.mean(func(c *Cell) Figure { return c.Today })
}

// MeanLastDay is that of the last whole day.
func (b *Bin) MeanLastDay() (light.DLI, bool) {
	return b.mean(func(c *Cell) Figure { return c.Yesterday })
}

func (b *Bin) mean(of func(*Cell) Figure) (mean light.DLI, known bool) {
	n := 0
	for i := range b.Cells {
		if f := of(&b.Cells[i]); f.Known {
			mean += f.DLI
			n++
		}
	}
	if n == 0 {
		return 0, false
	}
	return mean / light.DLI(n), true
}
