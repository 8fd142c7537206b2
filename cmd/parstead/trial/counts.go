package trial

import (
	"fmt"
	"slices"
	"strings"

	"parstead/light"
)

// readCounts reads the measurements of the season, and hands plants those that
// harvest.csv has no column for.
func (l *loader) readCounts() {
	s, _ := l.openSheet("counts", []string{"time", "plant", "outcome", "value"}, []string{"remarks"})
	if s == nil {
		return
	}
	names := make([]string, 0, len(l.Outcomes))
	for _, o := range l.Outcomes {
		names = append(names, o.Name)
	}
	clock := Clock{Zone: l.Rack.Zone}
	for i, code := range l.codes(s) {
		r := s.rows[i]
		at, timed := l.trialTime(&clock, r.cell("time"))
		p := l.knownPlant(r, code)
		c := r.cell("outcome")
		j := slices.IndexFunc(names, func(name string) bool { return strings.EqualFold(name, c.text) && name != "" })
		if j < 0 {
			mend := "write one of: " + strings.Join(names, ", ") + ", or add the outcome to " + configFile
			if near, ok := nearest(c.text, names); ok {
				mend = "write " + near
			}
			l.fault(c.at, fmt.Sprintf("there is no outcome %q", c.text), mend)
			continue
		}
		value, ok := l.readValue(r.cell("value"), l.Outcomes[j], code)
		if ok && timed && p != nil {
			l.Counts = append(l.Counts, Count{at, code, names[j], value})
		}
	}
	l.takeCounts()
}

// takeCounts gives a plant its last count up to its harvest date, of every
// outcome that harvest.csv has no column for.
func (l *loader) takeCounts() {
	inOrder := slices.Clone(l.Counts)
	slices.SortStableFunc(inOrder, func(a, b Count) int { return a.At.Compare(b.At) })
	for _, c := range inOrder {
		if l.harvest.has(c.Outcome) || l.harvest.has(c.Outcome+"_gross") {
			continue
		}
		p := l.plants[c.Plant]
		if l.harvest != nil && !p.HasHarvest || p.Status == Lost || p.Status == Withdrawn || p.Date.Before(light.DateOf(c.At.In(l.Rack.Zone))) {
			continue
		}
		if p.Values == nil {
			p.Values = map[string]Cell{}
		}
		p.Values[c.Outcome] = Cell{Value: c.Value, Counted: true}
	}
}
