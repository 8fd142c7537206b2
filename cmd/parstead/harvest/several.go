package harvest

import (
	"fmt"
	"slices"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/several"
)

// SplitAlike gives a trial whose plants are all of one kind, and that therefore
// splits its results by nothing, the split of the others, so that its results
// find those of the same kind.
func SplitAlike(list []*Harvest) {
	for _, h := range list {
		if h.Input.By != nil {
			continue
		}
		for _, other := range list {
			if other.Input.By == nil {
				continue
			}
			by := columnFactor(h.Trial, other.Input.By.Name)
			if len(by.Levels) == 1 && !slices.Contains(by.Codes, correlate.Blank) {
				h.Input.By = by
				break
			}
		}
	}
}

// Compared is the trial with its result, to be set beside others; folder and
// exported say where it was read.
func (h *Harvest) Compared(folder string, exported bool, result *correlate.Result) several.Trial {
	t := h.Trial
	days := t.Rack.Starts.DaysUntil(t.Rack.Ends) + 1
	words, length := comparableWindow(t, days)
	return several.Trial{
		Name: t.Name, Folder: folder, Exported: exported, Starts: t.Rack.Starts.String(), Ends: t.Rack.Ends.String(), Days: days,
		Window: words, WindowDays: length, Input: h.Input, Result: result,
	}
}

// comparableWindow words a light window without dates of its own year.
func comparableWindow(t *trial.Trial, days int) (words string, length int) {
	switch w := t.Window; {
	case w.First > 0:
		return fmt.Sprintf("the first %d days", w.First), min(w.First, days)
	case w.Last > 0:
		return fmt.Sprintf("the last %d days", w.Last), min(w.Last, days)
	case !w.From.IsZero():
		from, to := t.Rack.Starts.DaysUntil(w.From)+1, t.Rack.Starts.DaysUntil(w.To)+1
		return fmt.Sprintf("day %d to day %d", from, to), to - from + 1
	}
	return "the whole trial", days
}
