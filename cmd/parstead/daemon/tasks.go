package daemon

import (
	"fmt"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
)

// tasks says what the trial waits for from the grower.
func tasks(t *trial.Trial, standing []light.Event, now time.Time) []string {
	var list []string
	if !t.Dealt && len(t.Plants) > 0 {
		list = append(list, "Deal the plants to their places: parstead layout.")
	}
	for _, b := range t.Rack.Bins {
		switch m := account.EpochAt(&t.Rack, standing, b.Name, now); {
		case !m.Walked.IsZero():
		case m.Began.IsZero():
			list = append(list, fmt.Sprintf("Survey bin %s with the meter: without a light map its positions can't be told apart.", b.Name))
		default:
			list = append(list, fmt.Sprintf("Survey bin %s again: its light map ended on %s.", b.Name, m.Began))
		}
	}
	if left := t.Rack.DateAt(now).DaysUntil(t.Rack.Ends); left >= 0 && left <= 7 {
		list = append(list, fmt.Sprintf("Harvest on %s: print the sheet, weigh, count, note what is lost.", t.Rack.Ends))
	}
	return list
}
