package trial

import (
	"fmt"
	"os"
	"time"

	"parstead/cmd/parstead/cells"
	"parstead/light"
)

// furthestStart is by how many days a trial may be planned ahead before its year is
// asked about.
const furthestStart = 366

// Ahead are warnings about what is dated later than now; rows of a survey are told
// with its other doubts.
func (t *Trial) Ahead(now time.Time) (list []Problem) {
	today := light.DateOf(now.In(t.Rack.Zone))
	told := map[string]int{}
	say := func(file, what string, day light.Date) {
		if !today.Before(day) {
			return
		}
		if told[file]++; told[file] > alike {
			return // it is one slip
		}
		list = append(list, Problem{
			File: file, Level: LevelWarning,
			Says: fmt.Sprintf("%s is dated %v, and today is %v", what, day, today), Mend: "correct the date, or this machine's clock",
		})
	}
	if days := today.DaysUntil(t.Rack.Starts); days > furthestStart {
		list = append(list, Problem{
			File: configFile, Level: LevelWarning, Says: fmt.Sprintf("the trial starts on %v, in %d days", t.Rack.Starts, days), Mend: "correct the year, or this machine's clock",
		})
	}
	for _, c := range t.Counts {
		say(t.sheetFile(CountsSheet), fmt.Sprintf("%s of plant %s", c.Outcome, c.Plant), light.DateOf(c.At.In(t.Rack.Zone)))
	}
	for _, p := range t.Plants {
		if p.HasHarvest && p.Date != t.Rack.Ends {
			say(t.sheetFile(HarvestSheet), "the harvest or loss of plant "+p.Code, p.Date)
		}
	}
	for _, m := range t.Moves {
		say(t.sheetFile(MovesSheet), "the move of plant "+m.Plant, light.DateOf(m.At.In(t.Rack.Zone)))
	}
	return list
}

// sheetFile is the file that a sheet is read from.
func (t *Trial) sheetFile(name string) string {
	for _, ending := range cells.Endings {
		if _, err := os.Stat(t.Path(name + ending)); err == nil {
			return name + ending
		}
	}
	return name
}
