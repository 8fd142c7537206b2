package trial

import (
	"fmt"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/plan"
	"parstead/correlate/power"
)

// Spreads that a trial may meet before it has measured its own, as shares of the
// mean: of plants of one kind treated alike, and of means of bins treated alike
// (common practice, no source).
const (
	usualPlants = 0.25
	usualBins   = 0.08
)

// usualPower is asked of a trial: four cases of five.
const usualPower = 0.8

// warnDesign tells, as long as there is no harvest, what the trial as it is planned
// can't settle, and what it hardly can. A trial with mistakes is looked at later.
func (l *loader) warnDesign() {
	if l.harvest != nil || len(l.Plants) == 0 || !Usable(l.list) {
		return
	}
	before := len(l.list)
	groups := l.kinds()
	for i, tr := range l.Treatments {
		at := l.doc.at("treatment[%d]", i)
		var untold, told []counted
		for _, g := range groups {
			r := l.replicates(tr, g)
			switch {
			case len(g.plants) < 2 || r.all == 0: // one plant is a slip, or no group to compare in
			case r.unit != "plant" && r.all-len(tr.Levels)-r.others-(r.blocks-1) < 1:
				untold = append(untold, counted{g, r})
			case r.least > 0:
				told = append(told, counted{g, r})
			}
		}
		l.warnUntold(at, tr, untold, len(untold) == len(groups))
		l.warnTooFew(at, tr, told)
	}
	l.warnUnsuited()
	for i := range l.list[before:] {
		l.list[before+i].OfDesign = true
	}
}

// counted is a group with the replicates that a treatment has in it.
type counted struct {
	plantGroup
	replicates
}

// plantGroup is the plants that are analysed as one.
type plantGroup struct {
	value  string // of analyse_by; "" for all
	plants []*Plant
}

// kinds are the plants by analyse_by, in order of appearance, without guards.
func (l *loader) kinds() (groups []plantGroup) {
	for i := range l.Plants {
		p := &l.Plants[i]
		if p.Guard {
			continue
		}
		value := p.Columns[l.AnalyseBy]
		k := slices.IndexFunc(groups, func(g plantGroup) bool { return g.value == value })
		if k < 0 {
			k = len(groups)
			groups = append(groups, plantGroup{value: value})
		}
		groups[k].plants = append(groups[k].plants, p)
	}
	return groups
}

// replicates are what got a treatment as a whole: plants, bins or reservoirs.
type replicates struct {
	all, least int // in all, and of the level that has fewest
	blocks     int // among bins or reservoirs; at least one
	others     int // further coefficients of the model: of other treatments and what is adjusted for
	unit       string
}

// replicates counts those of a treatment in a group; before plants are dealt, those
// that an even deal would give.
func (l *loader) replicates(tr plan.Treatment, g plantGroup) replicates {
	r := replicates{blocks: 1, unit: string(tr.SetPer)}
	for _, other := range l.Treatments {
		if other.Name != tr.Name && other.SetPer == tr.SetPer {
			r.others += len(other.Levels) - 1
		}
	}
	dealt := l.Dealt || tr.SetPer == analysis.Given
	if tr.SetPer == analysis.PerPlant || tr.SetPer == analysis.Given {
		r.unit = "plant"
		r.others += len(l.Rack.Bins) + 1 // bins but one, light, and a starting size
		r.all = len(g.plants)
		if !dealt {
			r.least = r.all / len(tr.Levels)
			return r
		}
		counts := map[string]int{}
		for _, p := range g.plants {
			counts[p.Treatments[tr.Name]]++
		}
		r.least = fewestOf(tr.Levels, counts)
		return r
	}
	levels, blocks := map[string]string{}, map[string]bool{} // of each unit; blocks that have one
	for _, bin := range l.Rack.Bins {
		unit := bin.Name
		if tr.SetPer == analysis.PerReservoir {
			unit = bin.Reservoir
		}
		i := slices.IndexFunc(g.plants, func(p *Plant) bool { return p.Place.Bin == bin.Name })
		switch {
		case !l.Dealt:
			levels[unit], blocks[bin.Block] = "", true
		case i >= 0:
			levels[unit], blocks[bin.Block] = g.plants[i].Treatments[tr.Name], true
		}
	}
	r.all, r.blocks = len(levels), max(1, len(blocks))
	if tr.SetPer == analysis.PerReservoir {
		r.blocks = 1
	}
	counts := map[string]int{}
	for _, level := range levels {
		counts[level]++
	}
	r.least = fewestOf(tr.Levels, counts)
	if !l.Dealt {
		r.least = r.all / len(tr.Levels)
	}
	return r
}

// fewestOf is the count of the level that has fewest.
func fewestOf(levels []string, counts map[string]int) int {
	least := math.MaxInt
	for _, level := range levels {
		least = min(least, counts[level])
	}
	return least
}

// warnUntold tells of a treatment of whole bins or reservoirs about which nothing can
// be concluded, since none is left over to show how bins differ anyway.
func (l *loader) warnUntold(at place, tr plan.Treatment, groups []counted, all bool) {
	if len(groups) == 0 {
		return
	}
	least := slices.MinFunc(groups, func(a, b counted) int { return a.all - b.all })
	of := ""
	if !all {
		var names []string
		for _, g := range groups {
			names = append(names, g.value)
		}
		of = " of " + phrase.List(names)
	}
	l.warn(at, fmt.Sprintf("nothing can be concluded on %s%s: with %s for %d levels nobody can tell the level from the %s",
		tr.Name, of, countOf(least.all, least.unit), len(tr.Levels), least.unit), fmt.Sprintf("two %ss each would do; else it can only be described", least.unit))
}

// warnTooFew tells of a treatment with too few replicates for the difference that
// matters in the primary outcome, in the group that has fewest.
func (l *loader) warnTooFew(at place, tr plan.Treatment, groups []counted) {
	i := slices.IndexFunc(l.Outcomes, func(o Outcome) bool { return o.Primary && o.Matters.Share > 0 && kind.Of(o.Kind).Measured })
	if i < 0 {
		return
	}
	o := l.Outcomes[i]
	groups = slices.DeleteFunc(groups, func(g counted) bool { return !slices.ContainsFunc(g.plants, o.Concerns) })
	if len(groups) == 0 {
		return
	}
	g := slices.MinFunc(groups, func(a, b counted) int { return a.least - b.least })
	usual := usualPlants
	if g.unit != "plant" {
		usual = usualBins
	}
	scale := ratios(o.Scale == analysis.Log)
	m := power.Means{Layout: power.Layout{Levels: len(tr.Levels), Others: g.others + g.blocks - 1}, SD: scale.spread(usual)}
	shown := m.Smallest(g.least, usualPower)
	m.Difference = scale.difference(o.Matters.Share)
	if shown <= m.Difference {
		return
	}
	of := ""
	if g.value != "" {
		of = " (" + g.value + ")"
	}
	says := fmt.Sprintf("too few for %s%s: with %s a level ", tr.Name, of, countOf(g.least, g.unit))
	if math.IsInf(shown, 1) {
		says += "no difference shows, however large"
	} else {
		says += fmt.Sprintf("differences in %s show from %s on, and %s matters (%ss treated alike taken to differ by %s)",
			o.Name, phrase.WholePercent(scale.share(shown)), phrase.WholePercent(o.Matters.Share), g.unit, phrase.WholePercent(usual))
	}
	mend := "plan more, or fewer levels"
	if need, err := m.Replicates(usualPower); err == nil {
		mend = fmt.Sprintf("%d a level would do; or have fewer levels, or act on larger differences only (parstead size)", need)
	}
	l.warn(at, says, mend)
}

// ratios tells whether shares of a mean are taken as logs of ratios.
type ratios bool

func (log ratios) spread(share float64) float64 {
	if log {
		return math.Sqrt(math.Log1p(share * share)) // of a log-normal
	}
	return share
}

func (log ratios) difference(share float64) float64 {
	if log {
		return math.Log1p(share)
	}
	return share
}

func (log ratios) share(difference float64) float64 {
	if log {
		return math.Expm1(difference)
	}
	return difference
}
