package main

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/deal"
	"parstead/light"
)

// sealedPlan is what a layout writes into the log: how it was dealt and what
// was planned to be asked of the harvest.
type sealedPlan struct {
	Layout     deal.Record        `json:"layout"`
	Plants     []dealtPlant       `json:"plants"`
	Outcomes   []plannedOutcome   `json:"outcomes"`
	Treatments []plannedTreatment `json:"treatments"`
	AnalyseBy  string             `json:"analyse_by,omitempty"`
	Window     string             `json:"light_window"`
	Ends       string             `json:"ends"`
}

// dealtPlant is where a plant was dealt to, with which levels.
type dealtPlant struct {
	Plant  string            `json:"plant"`
	Bin    string            `json:"bin"`
	Row    int               `json:"row"`
	Column int               `json:"column"`
	Levels map[string]string `json:"levels,omitempty"`
}

type plannedOutcome struct {
	Name     string            `json:"name"`
	Kind     string            `json:"kind"`
	Scale    string            `json:"scale,omitempty"`
	Start    string            `json:"start,omitempty"`
	Exposure string            `json:"exposure,omitempty"`
	Only     map[string]string `json:"only,omitempty"`
	Primary  bool              `json:"primary,omitempty"`
	Matters  trial.Matters     `json:"matters"`
}

type plannedTreatment struct {
	Name      string   `json:"name"`
	Levels    []string `json:"levels"`
	SetPer    string   `json:"set_per"`
	SetsLight bool     `json:"sets_light,omitempty"`
}

// sealed is the plan of a trial as it stands. The trial must hold the layout
// that was dealt.
func sealed(t *trial.Trial, record deal.Record) sealedPlan {
	plan := sealedPlan{Layout: record, AnalyseBy: t.AnalyseBy, Window: windowWords(t), Ends: t.Rack.Ends.String()}
	for _, p := range t.Plants {
		plan.Plants = append(plan.Plants, dealtPlant{p.Code, p.Place.Bin, p.Place.Row, p.Place.Column, dealtLevels(t, record, &p)})
	}
	plan.Outcomes, plan.Treatments = plannedOutcomes(t), plannedTreatments(t)
	return plan
}

func plannedOutcomes(t *trial.Trial) (list []plannedOutcome) {
	for _, o := range t.Outcomes {
		list = append(list, plannedOutcome{
			o.Name, string(o.Kind), string(o.Scale), o.Start, o.Exposure, o.Only, o.Primary, o.Matters,
		})
	}
	return list
}

func plannedTreatments(t *trial.Trial) (list []plannedTreatment) {
	for _, tr := range t.Treatments {
		list = append(list, plannedTreatment{tr.Name, tr.Levels, string(tr.SetPer), tr.SetsLight})
	}
	return list
}

// dealtLevels are the plant's levels of the treatments that were dealt.
func dealtLevels(t *trial.Trial, record deal.Record, p *trial.Plant) map[string]string {
	levels := map[string]string{}
	for _, tr := range t.Treatments {
		if l := p.Treatments[tr.Name]; l != "" && record.Levels(tr.Name) != nil {
			levels[tr.Name] = l
		}
	}
	return levels
}

// event is the plan as an entry of the log.
func (p sealedPlan) event(at time.Time) (light.Event, error) {
	data, err := json.Marshal(p)
	if err != nil {
		return light.Event{}, fmt.Errorf("seal the plan: %w", err)
	}
	return light.Event{
		At: at.UTC(), Written: at.UTC(), Kind: light.Dealt,
		Text: fmt.Sprintf("seed %d. %s", p.Layout.Seed, p.Layout.Procedure), Data: data,
	}, nil
}

// lastPlan is the plan that the log's latest standing layout sealed; nil where
// none did.
func lastPlan(log []light.Event) (*sealedPlan, error) {
	var last *light.Event
	for _, e := range light.Standing(log) {
		if e.Kind == light.Dealt {
			last = &e
		}
	}
	if last == nil {
		return nil, nil
	}
	var plan sealedPlan
	if err := json.Unmarshal(last.Data, &plan); err != nil {
		return nil, fmt.Errorf("the log's entry %d holds no plan that this version reads: %w", last.ID, err)
	}
	return &plan, nil
}

// planned marks what was planned, finds departures and hands on how the plants
// were dealt.
func planned(in *correlate.Input, t *trial.Trial, log []light.Event, interactions bool) error {
	plan, err := lastPlan(log)
	if err != nil || plan == nil {
		return err
	}
	now := sealed(t, plan.Layout)
	say := func(format string, args ...any) { in.Departures = append(in.Departures, fmt.Sprintf(format, args...)) }
	if in.Dealt = &plan.Layout; relabelled(plan.Plants, now.Plants, say) {
		in.Dealt = nil
	}
	for i := range in.Outcomes {
		name := in.Outcomes[i].Name
		was := slices.IndexFunc(plan.Outcomes, func(o plannedOutcome) bool { return o.Name == name })
		if was < 0 {
			continue // new outcomes are exploratory; that is said with each
		}
		before, after := plan.Outcomes[was], now.Outcomes[i]
		in.Outcomes[i].Planned = true
		if changed := before.differs(after); len(changed) > 0 {
			in.Outcomes[i].Planned = false
			say("outcome %s is asked for in another way than was planned: %s.", name, strings.Join(changed, ", "))
		}
	}
	for _, o := range plan.Outcomes {
		if _, ok := t.Outcome(o.Name); !ok {
			say("outcome %s was planned and is no longer asked for.", o.Name)
		}
	}
	plan.compare(now, say)
	if interactions {
		say("interactions were added to the planned model.")
		for i := range in.Outcomes {
			in.Outcomes[i].Planned = false
		}
	}
	return nil
}

// differs names what of an outcome's plan was changed.
func (o plannedOutcome) differs(now plannedOutcome) []string {
	var changed []string
	for _, x := range []struct {
		what    string
		was, is any
	}{
		{"kind", o.Kind, now.Kind},
		{"scale", o.Scale, now.Scale},
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
	if x == "" {
		return "none"
	}
	if m, ok := x.(trial.Matters); ok {
		switch {
		case m.Share > 0:
			return fmt.Sprintf("%g %%", 100*m.Share)
		case m.Absolute > 0:
			return m.Absolute
		}
		return "none"
	}
	return x
}

// compare finds departures in what all outcomes share.
func (p *sealedPlan) compare(now sealedPlan, say func(string, ...any)) {
	if p.AnalyseBy != now.AnalyseBy {
		say("results were to be given by %v and are given by %v.", orNone(p.AnalyseBy), orNone(now.AnalyseBy))
	}
	if p.Window != now.Window {
		say("light was to be counted %s and is counted %s.", p.Window, now.Window)
	}
	if p.Ends != now.Ends {
		say("the trial was to end on %s and ends on %s.", p.Ends, now.Ends)
	}
	for _, tr := range p.Treatments {
		i := slices.IndexFunc(now.Treatments, func(o plannedTreatment) bool { return o.Name == tr.Name })
		switch {
		case i < 0:
			say("treatment %s was planned and is no longer there.", tr.Name)
		case fmt.Sprint(tr) != fmt.Sprint(now.Treatments[i]):
			say("treatment %s was changed after the plants were dealt.", tr.Name)
		}
	}
	for _, tr := range now.Treatments {
		if !slices.ContainsFunc(p.Treatments, func(o plannedTreatment) bool { return o.Name == tr.Name }) {
			say("treatment %s was not planned.", tr.Name)
		}
	}
}

// relabelled tells whether plants have other levels than were dealt, and says
// what differs from the deal.
func relabelled(dealt, now []dealtPlant, say func(string, ...any)) bool {
	at := map[string]dealtPlant{}
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
		say("%d plants that were dealt are no longer in layout.csv.", gone)
	}
	if moved > 0 {
		say("%d plants stand elsewhere in layout.csv than they were dealt to.", moved)
	}
	if other > 0 {
		say("%d plants have another treatment in layout.csv than they were dealt: it no longer is the layout that parstead dealt.", other)
	}
	return other > 0 || gone > 0 || moved > 0
}
