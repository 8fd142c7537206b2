// Package plan seals what was planned to be asked of a harvest when its plants are
// dealt, and finds what departs from that later.
package plan

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"parstead/correlate/analysis"
	"parstead/correlate/deal"
	"parstead/light"
)

// Sealed is what a layout writes into the log: how it was dealt and what
// was planned to be asked of the harvest.
type Sealed struct {
	Layout     deal.Record `json:"layout"`
	Plants     []Plant     `json:"plants"`
	Outcomes   []Outcome   `json:"outcomes"`
	Treatments []Treatment `json:"treatments"`
	AnalyseBy  string      `json:"analyse_by,omitempty"`
	Window     string      `json:"light_window"`
	Ends       string      `json:"ends"`
}

// Plant is where a plant was dealt to, with which levels.
type Plant struct {
	Plant  string            `json:"plant"`
	Bin    string            `json:"bin"`
	Row    int               `json:"row"`
	Column int               `json:"column"`
	Levels map[string]string `json:"levels,omitempty"`
}

// Outcome is what was to be asked of the harvest, and how.
type Outcome struct {
	Name     string            `json:"name"`
	Kind     analysis.Kind     `json:"kind"`
	Scale    analysis.Scale    `json:"scale,omitempty"`
	Start    string            `json:"start,omitempty"`    // the column with the starting value; "" for none
	Exposure string            `json:"exposure,omitempty"` // the column of a count's exposure; "" for none
	Only     map[string]string `json:"only,omitempty"`     // column: the value that a plant must have to count
	Primary  bool              `json:"primary,omitempty"`
	Matters  Matters           `json:"matters"`
}

// Treatment is what plants, bins or reservoirs got.
type Treatment struct {
	Name      string          `json:"name"`
	Levels    []string        `json:"levels"` // the first is the reference
	SetPer    analysis.SetPer `json:"set_per"`
	SetsLight bool            `json:"sets_light,omitempty"` // acts through light, so is never adjusted for light

	OnlyBins map[string][]string `json:"only_bins,omitempty"` // the bins that can have a level, where not all can
}

// Matters is the difference that the grower would act on: a share of the mean, or
// in the outcome's unit.
type Matters struct {
	Share, Absolute float64
}

// Event is the plan as an entry of the log.
func (p Sealed) Event(at time.Time) (light.Event, error) {
	data, err := json.Marshal(p)
	if err != nil {
		return light.Event{}, fmt.Errorf("seal the plan: %w", err)
	}
	return light.Event{
		At: at.UTC(), Written: at.UTC(), Kind: light.Dealt,
		Text: fmt.Sprintf("seed %d. %s", p.Layout.Seed, p.Layout.Procedure), Data: data,
	}, nil
}

// Last is the plan that the log's latest standing layout sealed; nil where
// none did.
func Last(log []light.Event) (*Sealed, error) {
	var last *light.Event
	for _, e := range light.Standing(log) {
		if e.Kind == light.Dealt {
			last = &e
		}
	}
	if last == nil {
		return nil, nil
	}
	var plan Sealed
	if err := json.Unmarshal(last.Data, &plan); err != nil {
		return nil, fmt.Errorf("the log's entry %d holds no plan that this version reads: %w", last.ID, err)
	}
	return &plan, nil
}

// Departures is how what is asked now differs from what was planned.
type Departures struct {
	Says       []string        // a sentence each
	Planned    map[string]bool // the outcomes that are asked for as planned
	Relabelled bool            // plants have other levels or places than were dealt
}

func (d *Departures) say(format string, args ...any) {
	d.Says = append(d.Says, fmt.Sprintf(format, args...))
}

// Against finds what departs from the plan. Interactions tells that they were
// added to the planned model.
func (s *Sealed) Against(now Sealed, interactions bool) Departures {
	d := Departures{Planned: map[string]bool{}}
	d.plants(s.Plants, now.Plants)
	d.outcomes(s.Outcomes, now.Outcomes)
	d.shared(s, &now)
	d.treatments(s.Treatments, now.Treatments)
	if interactions {
		d.say("interactions were added to the planned model.")
		clear(d.Planned)
	}
	return d
}

// outcomes finds what each is asked for in another way. New outcomes are
// exploratory; that is said with each.
func (d *Departures) outcomes(planned, now []Outcome) {
	named := func(name string) func(Outcome) bool { return func(o Outcome) bool { return o.Name == name } }
	for _, o := range now {
		i := slices.IndexFunc(planned, named(o.Name))
		if i < 0 {
			continue
		}
		changed := planned[i].differs(o)
		if d.Planned[o.Name] = len(changed) == 0; len(changed) > 0 {
			d.say("outcome %s is asked for in another way than was planned: %s.", o.Name, strings.Join(changed, ", "))
		}
	}
	for _, o := range planned {
		if !slices.ContainsFunc(now, named(o.Name)) {
			d.say("outcome %s was planned and is no longer asked for.", o.Name)
		}
	}
}

// differs names what of an outcome's plan was changed.
func (o Outcome) differs(now Outcome) []string {
	var changed []string
	for _, x := range []struct {
		what    string
		was, is any
	}{
		{"kind", string(o.Kind), string(now.Kind)},
		{"scale", string(o.Scale), string(now.Scale)},
		{"start", o.Start, now.Start},
		{"exposure", o.Exposure, now.Exposure},
		{"only", fmt.Sprint(o.Only), fmt.Sprint(now.Only)},
		{"primary", o.Primary, now.Primary},
		{"matters", o.Matters, now.Matters},
	} {
		if x.was != x.is {
			changed = append(changed, fmt.Sprintf("%s was %v and is %v", x.what, orNone(x.was), orNone(x.is)))
		}
	}
	return changed
}

func orNone(x any) any {
	m, ok := x.(Matters)
	switch {
	case x == "", m == Matters{} && ok:
		return "none"
	case m.Share > 0:
		return fmt.Sprintf("%g %%", 100*m.Share)
	case ok:
		return m.Absolute
	}
	return x
}

// shared finds departures in what all outcomes share.
func (d *Departures) shared(p, now *Sealed) {
	if p.AnalyseBy != now.AnalyseBy {
		d.say("results were to be given by %v and are given by %v.", orNone(p.AnalyseBy), orNone(now.AnalyseBy))
	}
	if p.Window != now.Window {
		d.say("light was to be counted %s and is counted %s.", p.Window, now.Window)
	}
	if p.Ends != now.Ends {
		d.say("the trial was to end on %s and ends on %s.", p.Ends, now.Ends)
	}
}

func (d *Departures) treatments(planned, now []Treatment) {
	named := func(name string) func(Treatment) bool { return func(t Treatment) bool { return t.Name == name } }
	for _, tr := range planned {
		i := slices.IndexFunc(now, named(tr.Name))
		switch {
		case i < 0:
			d.say("treatment %s was planned and is no longer there.", tr.Name)
		case fmt.Sprint(tr) != fmt.Sprint(now[i]):
			d.say("treatment %s was changed after the plants were dealt.", tr.Name)
		}
	}
	for _, tr := range now {
		if !slices.ContainsFunc(planned, named(tr.Name)) {
			d.say("treatment %s was not planned.", tr.Name)
		}
	}
}

// plants finds what differs from the deal.
func (d *Departures) plants(dealt, now []Plant) {
	at := map[string]Plant{}
	for _, p := range now {
		at[p.Plant] = p
	}
	moved, other, gone := 0, 0, 0
	for _, p := range dealt {
		is, ok := at[p.Plant]
		switch {
		case !ok:
			gone++
		case fmt.Sprint(is.Levels) != fmt.Sprint(p.Levels):
			other++
		case is.Bin != p.Bin || is.Row != p.Row || is.Column != p.Column:
			moved++
		}
	}
	if gone > 0 {
		d.say("%d plants that were dealt are no longer in layout.csv.", gone)
	}
	if moved > 0 {
		d.say("%d plants stand elsewhere in layout.csv than they were dealt to.", moved)
	}
	if other > 0 {
		d.say("%d plants have another treatment in layout.csv than they were dealt: it no longer is the layout that parstead dealt.", other)
	}
	d.Relabelled = other > 0 || gone > 0 || moved > 0
}
