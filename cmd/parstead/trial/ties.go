package trial

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/deal"
	"parstead/correlate/plan"
)

// readTies reads which bins can have which level of a treatment.
func (l *loader) readTies(t *table, tr *plan.Treatment) {
	only, present := t.table("only_bins")
	if !present {
		return
	}
	before := len(l.list)
	if tr.SetPer != analysis.PerBin && tr.SetPer != "" {
		t.fault("only_bins", fmt.Sprintf("only_bins ties levels to bins, and %s is set per %s", tr.Name, tr.SetPer), `remove it, or write set_per = "bin"`)
	}
	ties := map[string][]string{}
	for _, level := range slices.Sorted(maps.Keys(only.values)) {
		bins, _ := only.texts(level, `["north"]`)
		if !slices.Contains(tr.Levels, level) {
			mend := meant(level, tr.Levels, "write %s, or add the level", "write one of: "+strings.Join(tr.Levels, ", "))
			only.fault(level, fmt.Sprintf("%s has no level %q", tr.Name, level), mend)
		}
		for _, bin := range bins {
			l.checkKnown(only, level, "bin", bin, binNames(l.Rack.Bins))
		}
		ties[level] = bins
	}
	if len(l.list) > before {
		return
	}
	tr.OnlyBins = ties
	d := dealt(*tr)
	for _, bin := range binNames(l.Rack.Bins) {
		if !slices.ContainsFunc(tr.Levels, func(level string) bool { return d.CanHave(bin, level) }) {
			t.fault("only_bins", fmt.Sprintf("only_bins leaves the bin %q no level of %s", bin, tr.Name), "name it beside a level that it can have")
		}
	}
}

// dealt is a treatment as the layout's procedure takes it.
func dealt(tr plan.Treatment) deal.Treatment {
	return deal.Treatment{Name: tr.Name, Levels: tr.Levels, SetPer: tr.SetPer, OnlyBins: tr.OnlyBins}
}

// checkTies complains of bins that have a level which they can't have.
func (l *loader) checkTies(i int, tr plan.Treatment) {
	d, told := dealt(tr), map[string]bool{}
	for _, code := range l.order {
		p := l.plants[code]
		level, bin := p.Treatments[tr.Name], p.Place.Bin
		if level == "" || bin == "" || told[bin] || d.CanHave(bin, level) {
			continue
		}
		told[bin] = true
		l.fault(p.cells[fold(tr.Name)].at, fmt.Sprintf("the bin %q has %s %s, which by only_bins only %s can have", bin, tr.Name, level, strings.Join(tr.OnlyBins[level], ", ")),
			fmt.Sprintf("correct the level here, or only_bins in line %d of %s", l.doc.at("treatment[%d].only_bins", i).line, configFile))
	}
}
