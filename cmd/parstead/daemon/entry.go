package daemon

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/light"
)

// event is the line of the log that an entry becomes, with what it changes in
// the sheets. The changes are made in the draft.
func (f *filing) event(draft *trial.Draft, who string, e page.Entry) (event light.Event, made []trial.Change, remarks []string, err error) {
	now := f.now().UTC().Truncate(time.Second)
	at := now.Add(-e.Age).Truncate(time.Second)
	event = light.Event{At: at, Written: now, Kind: light.Entered, Plant: e.Plant}
	if e.What == page.Note {
		event, err = noteOf(f.trial(), e, at)
		event.Written = now
	} else if made, remarks, err = draftEntry(draft, e, at); err == nil {
		event.Text = told(draft, made)
	}
	if err != nil {
		return event, nil, nil, err
	}
	if who != "" {
		event.Text = strings.TrimSpace(event.Text + " (" + who + ")")
	}
	event.Data, err = json.Marshal(enteredData{e.ID, e.Content(), who, made})
	return event, made, remarks, err
}

// noteOf is a note as the command of that name would write it.
func noteOf(t *trial.Trial, e page.Entry, at time.Time) (light.Event, error) {
	if light.Kind(e.Kind).OfStretch() {
		return light.Event{}, fmt.Errorf("%s is for a stretch of time: use parstead note", e.Kind)
	}
	if e.Text == "" && (e.Kind == "" || e.Kind == string(light.Other)) {
		return light.Event{}, errors.New("the note is blank: write what happened, or choose its kind")
	}
	kind, err := light.ParseKind(cmp.Or(e.Kind, string(light.Other)))
	if err != nil {
		return light.Event{}, err
	}
	event := light.Event{At: at, Kind: kind, Bin: e.Bin, Plant: e.Plant, Sensor: e.Sensor, Text: e.Text}
	return event, t.CheckSubject(event)
}

// draftEntry makes what an entry says in the draft.
func draftEntry(draft *trial.Draft, e page.Entry, at time.Time) (made []trial.Change, remarks []string, err error) {
	changes, err := changesOf(draft.Trial(), e, at)
	if err != nil {
		return nil, nil, err
	}
	made, follows, err := draft.Make(changes...)
	for _, p := range follows {
		remarks = append(remarks, "But "+sentence(p))
	}
	return made, remarks, err
}

// changesOf is what an entry changes in the sheets.
func changesOf(t *trial.Trial, e page.Entry, at time.Time) ([]trial.Change, error) {
	plant, known := t.Plant(e.Plant)
	if !known {
		return nil, fmt.Errorf("the trial has no plant %q: find it by its bin", e.Plant)
	}
	set := func(heading, value string) trial.Set { return trial.Set{Heading: heading, Value: value} }
	change := func(sheet string, cells ...trial.Set) trial.Change { return trial.Change{Sheet: sheet, Cells: cells} }
	outcome, asked := t.Outcome(e.Outcome)
	switch e.What {
	case page.Count, page.Harvest, page.Again:
		if !asked {
			return nil, fmt.Errorf("the trial has no outcome %q: choose one of its own", e.Outcome)
		}
		if e.Value == "" {
			return nil, errors.New("the value is blank: give it, or leave the plant out")
		}
	}
	when, number := at.Format(time.RFC3339), pointed(e.Value)
	switch e.What {
	case page.Count:
		return []trial.Change{change(trial.CountsSheet, set("time", when), set("plant", plant.Code), set("outcome", outcome.Name), set("value", number))}, nil
	case page.Harvest:
		cells := []trial.Set{set("plant", plant.Code), set(outcome.Name, number)}
		if outcome.Gross {
			if e.Tare == "" {
				return nil, errors.New("the weight of the dish is blank: write 0 where there is none")
			}
			cells = []trial.Set{set("plant", plant.Code), set(outcome.Name+"_gross", number), set(outcome.Name+"_tare", pointed(e.Tare))}
		}
		if e.Day != "" && e.Day != plant.Date.String() {
			cells = append(cells, set("date", e.Day))
		}
		return []trial.Change{change(trial.HarvestSheet, cells...)}, nil
	case page.Again:
		return []trial.Change{change(trial.HarvestSheet, set("plant", plant.Code), set(outcome.Name+"_again", number))}, nil
	case page.Lost:
		if !slices.Contains(trial.Causes, e.Cause) {
			return nil, fmt.Errorf("the cause is %q: choose one of %s", e.Cause, strings.Join(trial.Causes, ", "))
		}
		return []trial.Change{change(trial.HarvestSheet, set("plant", plant.Code), set("status", analysis.Lost.String()), set("lost_on", e.Day), set("cause", e.Cause))}, nil
	case page.Alive:
		if plant.Status != analysis.Lost {
			return nil, fmt.Errorf("%s is not written down as lost", plant.Code)
		}
		return []trial.Change{change(trial.HarvestSheet, set("plant", plant.Code), set("status", ""), set("lost_on", ""), set("cause", ""))}, nil
	case page.Move:
		move := func(code, bin, row, column string) trial.Change {
			return change(trial.MovesSheet, set("time", when), set("plant", code), set("bin", bin), set("row", row), set("column", column))
		}
		moves := []trial.Change{move(plant.Code, e.Bin, e.Row, e.Column)}
		if e.Swap != "" {
			from, ok := plant.PlaceAt(at)
			other := t.PlantAt(light.Position{Bin: e.Bin, Row: numberOr0(e.Row), Column: numberOr0(e.Column)}, at)
			if !ok || other != e.Swap || other == plant.Code {
				return nil, fmt.Errorf("%s and %s can't change places: %s stands elsewhere now", plant.Code, e.Swap, e.Swap)
			}
			moves = append(moves, move(other, from.Bin, strconv.Itoa(from.Row), strconv.Itoa(from.Column)))
		}
		return moves, nil
	}
	return nil, fmt.Errorf("%q is nothing that can be entered", e.What)
}

// pointed is a number with a decimal point, whatever key the phone has for it.
func pointed(value string) string {
	if strings.Count(value, ",") == 1 && !strings.Contains(value, ".") {
		return strings.Replace(value, ",", ".", 1)
	}
	return value
}

func numberOr0(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		return 0 // no position has it
	}
	return n
}

// told says what changes, in words for the log.
func told(draft *trial.Draft, changes []trial.Change) string {
	var parts []string
	for _, c := range changes {
		parts = append(parts, c.Says())
	}
	return strings.Join(parts, "; ") + "; in " + draft.File(changes[0].Sheet)
}

// Offer is what can be entered now.
func (f *filing) Offer(context.Context) (*page.Offer, error) {
	t, now := f.trial(), f.now()
	today := t.Rack.DateAt(now)
	if today.Before(t.Rack.Starts) {
		today = t.Rack.Starts
	}
	o := &page.Offer{Trial: t.Name, Today: light.Earlier(today, t.Rack.Ends).String(), Ends: t.Rack.Ends.String(), Causes: trial.Causes}
	for _, kind := range slices.Backward(light.Kinds()) { // the plainest first
		if !kind.OfStretch() {
			o.Kinds = append(o.Kinds, string(kind))
		}
	}
	for _, s := range t.Rack.Sensors {
		if s.During.Holds(now) && !slices.Contains(o.Sensors, s.Name) {
			o.Sensors = append(o.Sensors, s.Name)
		}
	}
	order := map[string]int{}
	for i, b := range t.Rack.Bins {
		o.Bins = append(o.Bins, page.Grid{Name: b.Name, Rows: b.Rows, Columns: b.Columns})
		order[b.Name] = i
	}
	for _, x := range t.Outcomes {
		counted := slices.ContainsFunc(t.Counts, func(c trial.Count) bool { return c.Outcome == x.Name })
		inHarvest := slices.ContainsFunc(t.Plants, func(p trial.Plant) bool { c, ok := p.Values[x.Name]; return ok && !c.Counted })
		// A harvest column would put all counts of the outcome out of use.
		o.Outcomes = append(o.Outcomes, page.Outcome{Name: x.Name, Kind: string(x.Kind), Unit: x.Unit, Harvest: inHarvest || !counted, Gross: x.Gross})
	}
	for i := range t.Plants {
		o.Plants = append(o.Plants, offered(t, &t.Plants[i], now))
	}
	slices.SortStableFunc(o.Plants, func(a, b page.Plant) int {
		return cmp.Or(cmp.Compare(order[a.Bin], order[b.Bin]), cmp.Compare(a.Row, b.Row), cmp.Compare(a.Column, b.Column))
	})
	return o, nil
}

func offered(t *trial.Trial, p *trial.Plant, now time.Time) page.Plant {
	x := page.Plant{Code: p.Code, Values: map[string]string{}, Outcomes: []string{}}
	if at, ok := p.PlaceAt(now); ok {
		x.Bin, x.Row, x.Column = at.Bin, at.Row, at.Column
	}
	if p.HasHarvest {
		x.Fate = p.Status.String()
		if p.Date != t.Rack.Ends {
			x.Date = p.Date.String()
		}
	}
	for _, o := range t.Outcomes {
		if o.Concerns(p) {
			x.Outcomes = append(x.Outcomes, o.Name)
		}
		if c, ok := p.Values[o.Name]; ok && !c.Counted {
			x.Values[o.Name] = shownValue(o.Kind, c.Value)
		}
	}
	return x
}

func shownValue(of analysis.Kind, x float64) string {
	switch {
	case !kind.Of(of).Answers:
		return strconv.FormatFloat(x, 'f', -1, 64)
	case x == 1:
		return "yes"
	default:
		return "no"
	}
}
