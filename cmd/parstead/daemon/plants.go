package daemon

import (
	"time"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/analysis"
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
