package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/light"
)

// standing names the trial's plants, where they are and what became of them. It
// tells nothing of treatments nor of what was scored.
func standing(t *trial.Trial, now time.Time) []page.Standing {
	var list []page.Standing
	for i := range t.Plants {
		p := &t.Plants[i]
		x := page.Standing{Code: p.Code}
		if at, ok := p.PlaceAt(now); ok {
			x.Bin = at.Bin
		}
		if p.HasHarvest {
			x.Fate = p.Status.String()
			if p.Status == analysis.Lost {
				x.Why = p.Cause
				if !p.LostOn.IsZero() {
					x.On = p.LostOn.String()
				}
			}
		}
		list = append(list, x)
	}
	return list
}

// harvestOf tells how far the harvest of a trial that has ended has come; nil
// before that.
func harvestOf(t *trial.Trial, now time.Time) *page.Progress {
	if now.Before(t.Rack.Trial().Until) || len(t.Plants) == 0 {
		return nil
	}
	h := new(page.Progress)
	out := map[string]int{}
	for i := range t.Plants {
		p := &t.Plants[i]
		if p.Guard {
			continue
		}
		if p.HasHarvest {
			h.In++
			continue
		}
		h.Out++
		if n := len(p.Stays); n > 0 {
			out[p.Stays[n-1].Position.Bin]++
		}
	}
	for _, b := range t.Rack.Bins {
		if n := out[b.Name]; n > h.ThereIn {
			h.Next, h.ThereIn = b.Name, n
		}
	}
	return h
}

// levelsOf are the levels of the treatments that the bin got as a whole. Those
// dealt to plants are not told while plants may still be scored.
func levelsOf(t *trial.Trial, bin light.Bin) (levels []page.Level) {
	for _, tr := range t.Treatments {
		if tr.SetPer != analysis.PerBin && tr.SetPer != analysis.PerReservoir {
			continue
		}
		for i := range t.Plants {
			if p := &t.Plants[i]; p.Place.Bin == bin.Name && p.Treatments[tr.Name] != "" {
				levels = append(levels, page.Level{Treatment: tr.Name, Level: p.Treatments[tr.Name]})
				break
			}
		}
	}
	return levels
}

// withoutScores leaves out of the log what was entered of plants of which something
// is still to be scored: who scores is not to see what was found before.
func withoutScores(t *trial.Trial, log []light.Event) []light.Event {
	shown := slices.Clone(log)
	for i := range shown {
		e := &shown[i]
		if e.Kind != light.Entered || !scores(e.Data) {
			continue
		}
		if p, known := t.Plant(e.Plant); !known || !t.Scored(p) {
			e.Text = "kept back until its harvest is in"
		}
	}
	return shown
}

// fates are the columns of harvest.csv that tell what became of a plant, and when.
var fates = []string{"plant", "date", "status", "lost_on", "cause"}

// scores tells whether what was entered is a value of an outcome, by what the log
// keeps of it: a move and a loss are none.
func scores(data []byte) bool {
	var entered enteredData
	if err := json.Unmarshal(data, &entered); err != nil {
		return true // what can't be read is kept back
	}
	return slices.ContainsFunc(entered.Changes, func(c trial.Change) bool {
		return c.Sheet == trial.CountsSheet || c.Sheet == trial.HarvestSheet &&
			slices.ContainsFunc(c.Cells, func(s trial.Set) bool { return !slices.Contains(fates, s.Heading) })
	})
}

// history is what is known of a plant. Before nothing of it is left to be scored,
// that is neither its treatment nor a value.
func (s *status) history(ctx context.Context, code string) (*page.History, error) {
	state, err := s.get(ctx)
	if err != nil {
		return nil, err
	}
	t := s.trial()
	p, known := t.Plant(code)
	if !known {
		return nil, nil //nolint:nilnil // no such plant: no history, no fault
	}
	h := &page.History{State: state, Code: p.Code, Open: t.Scored(p), Guard: p.Guard, Stays: p.Stays}
	if at, ok := p.PlaceAt(state.Now); ok {
		h.Place = at
	}
	if p.HasHarvest {
		h.Fate, h.Cause, h.On = p.Status.String(), p.Cause, p.Date.String()
	}
	if t.AnalyseBy != "" && p.Columns[t.AnalyseBy] != "" {
		h.Kind = p.Columns[t.AnalyseBy]
	}
	for _, e := range state.Log {
		if e.Plant != code || e.Kind == light.Filed {
			continue
		}
		h.Log = append(h.Log, e)
		var data photoData
		if e.Kind == light.Photographed && json.Unmarshal(e.Data, &data) == nil {
			h.Photos = append(h.Photos, page.Photo{File: data.File, At: e.At})
		}
	}
	for _, c := range t.Counts {
		if c.Plant != code {
			continue
		}
		x := page.Counted{At: c.At, Outcome: c.Outcome}
		if h.Open {
			o, _ := t.Outcome(c.Outcome)
			x.Value = shownValue(o.Kind, c.Value)
		}
		h.Counts = append(h.Counts, x)
	}
	if h.Open {
		open(h, t, p)
	}
	return h, nil
}

// open adds to a plant's history what is told once nothing of it is left to be
// scored.
func open(h *page.History, t *trial.Trial, p *trial.Plant) {
	for _, tr := range t.Treatments {
		if level := p.Treatments[tr.Name]; level != "" {
			h.Levels = append(h.Levels, page.Level{Treatment: tr.Name, Level: level})
		}
	}
	for _, o := range t.Outcomes {
		c, found := p.Values[o.Name]
		if !found {
			continue
		}
		f := page.Found{Outcome: o.Name, Unit: o.Unit, Value: shownValue(o.Kind, c.Value), Start: p.Columns[o.Start]}
		if !kind.Of(o.Kind).Answers {
			f.Among = among(t, p, o)
		}
		h.Found = append(h.Found, f)
	}
}

// among sets a plant's value among those of the plants that results are given for
// together with it.
func among(t *trial.Trial, p *trial.Plant, o trial.Outcome) string {
	var values []float64
	for i := range t.Plants {
		q := &t.Plants[i]
		if c, ok := q.Values[o.Name]; ok && !q.Guard && q.LeaveOut == "" && (t.AnalyseBy == "" || q.Columns[t.AnalyseBy] == p.Columns[t.AnalyseBy]) {
			values = append(values, c.Value)
		}
	}
	if len(values) < 2 {
		return ""
	}
	slices.Sort(values)
	return fmt.Sprintf("of %d plants: %.4g to %.4g, half of them under %.4g", len(values), values[0], values[len(values)-1], values[len(values)/2])
}
