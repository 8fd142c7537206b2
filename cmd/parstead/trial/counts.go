package trial

import (
	"fmt"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/light"
)

// countsSheet holds the measurements of the season.
var countsSheet = sheetKind{
	name: CountsSheet, needed: []string{"time", "plant", "outcome", "value"}, known: remarks,
	read: (*loader).readCounts, rests: 4,
	entry: entryKind{
		headings: []string{"time", "plant", "outcome", "value"},
		says:     func(v map[string]string) string { return v["outcome"] + " " + v["value"] },
	},
}

// readCounts hands plants the measurements that harvest.csv has no column for.
func (l *loader) readCounts(s *sheet, _ bool) {
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
			mend := meant(c.text, names, "write %s", "write one of: "+strings.Join(names, ", ")+", or add the outcome to "+configFile)
			l.fault(c.at, fmt.Sprintf("there is no outcome %q", c.text), mend)
			continue
		}
		value, ok := l.readValue(r.cell("value"), l.Outcomes[j], code)
		if ok && timed && p != nil {
			l.Counts = append(l.Counts, Count{at, code, names[j], value})
		}
	}
	l.takeCounts()
	l.warnOfLossesOnly(s)
}

// warnOfLossesOnly tells that counts are out of use because the plants that were
// not lost have no line in harvest.csv: it may hold the season's losses so far.
func (l *loader) warnOfLossesOnly(counts *sheet) {
	if l.harvest == nil {
		return
	}
	for _, p := range l.plants {
		if p.HasHarvest && p.Status == analysis.Harvested {
			return
		}
	}
	if slices.ContainsFunc(l.Counts, func(c Count) bool { return !l.plants[c.Plant].HasHarvest && !l.hasColumn(c.Outcome) }) {
		l.warn(place{file: l.harvest.file}, fmt.Sprintf("no plant is written down as harvested, so the plants without a line here count as missing, whatever %s holds of them", counts.file),
			"at the harvest give each plant that was not lost a line, with nothing but its code if counts are all there is")
	}
}

// hasColumn tells whether harvest.csv has a column for the outcome.
func (l *loader) hasColumn(outcome string) bool {
	return l.harvest.has(outcome) || l.harvest.has(outcome+"_gross")
}

// takeCounts gives a plant its last count up to its harvest date, of every
// outcome that harvest.csv has no column for.
func (l *loader) takeCounts() {
	inOrder := slices.Clone(l.Counts)
	slices.SortStableFunc(inOrder, func(a, b Count) int { return a.At.Compare(b.At) })
	for _, c := range inOrder {
		if l.hasColumn(c.Outcome) {
			continue
		}
		p := l.plants[c.Plant]
		if l.harvest != nil && !p.HasHarvest || p.Status != analysis.Harvested || p.Date.Before(light.DateOf(c.At.In(l.Rack.Zone))) {
			continue
		}
		if p.Values == nil {
			p.Values = map[string]Cell{}
		}
		p.Values[c.Outcome] = Cell{Value: c.Value, Counted: true}
	}
}
