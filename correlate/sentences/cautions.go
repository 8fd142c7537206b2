package sentences

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
)

// spoilt says what weakens the sentences on treatments.
func (t *teller) spoilt() {
	if t.r.SpreadsDiffer() {
		t.spread()
	}
	for _, u := range t.r.Unlike {
		t.unlike(u)
	}
	for _, c := range t.r.Checks {
		if c.Check == analysis.OneUnit {
			t.say(analysis.Caution, t.treatmentNamed(c.Of), "%s: %s.", c.Of, c.Says)
		}
	}
	for _, l := range t.r.LikeLight {
		name := t.term(l.Covariate)
		t.say(analysis.Caution, lit, "Light and %s can hardly be told apart here (variance inflation %s): what is told of the one may be the other's doing.", name, phrase.Number(l.VIF))
	}
	for _, c := range t.r.Checks {
		if c.Check == analysis.LightOut && c.Of == "" {
			t.say(analysis.Caution, lit, "%s.", phrase.Capital(c.Says))
		}
	}
}

// spread says by what the sentences stand where plants spread unlike.
func (t *teller) spread() {
	p := phrase.P(*t.r.CheckOf(analysis.SpreadAlike).P)
	u := t.r.UnequalSpread
	if u == nil || u.GamesHowell == nil {
		t.say(analysis.Caution, whole, "Plants do not spread alike in all treatments (p %s): of treatments of single plants nothing is told as shown.", p)
		return
	}
	if u.Welch == nil {
		t.say(analysis.Caution, whole, "Plants do not spread alike in all treatments (p %s): what is told of single plants rests on each treatment's own spread.", p)
		return
	}
	about, welch := whole, ""
	if len(t.r.Comparisons) > 0 {
		about = analysis.About(t.r.Comparisons[0].Term)
	}
	if u.Welch != nil {
		welch = fmt.Sprintf(" (all levels together: Welch's p %s)", phrase.P(u.Welch.P))
	}
	t.say(analysis.Caution, about, "Plants do not spread alike on all levels (p %s): what follows rests on each level's own spread, by Games and Howell%s.", p, welch)
}

// unlike says in what the levels of a treatment are unlike that is held equal.
func (t *teller) unlike(u analysis.Unlike) {
	treatment := t.in.Treatments[u.Treatment]
	parts := make([]string, len(u.Levels))
	for i, l := range u.Levels {
		parts[i] = fmt.Sprintf("%s %s", treatment.Levels[l], phrase.Number(u.Means[i]))
	}
	about, name, means := analysis.About(analysis.TreatmentTerm(u.Treatment)), t.term(u.In), strings.Join(parts, ", ")
	switch {
	case u.In != analysis.LightTerm():
		t.say(analysis.Caution, about, "The levels of %s are unlike in %s (%s; p %s), which is held equal: if %s had changed it by then, a part of what %s did is hidden.",
			treatment.Name, name, means, phrase.P(*u.P), treatment.Name, treatment.Name)
	case u.P == nil:
		t.say(analysis.Caution, about, "The levels of %s stood in unlike light (%s): what is told of them holds at equal light, and leaves out what %s did by its light%s.",
			treatment.Name, means, treatment.Name, t.bare(u.Treatment, true))
	default:
		t.say(analysis.Caution, about, "The levels of %s stood in unlike light (%s; p %s): what is told of them holds at equal light%s.",
			treatment.Name, means, phrase.P(*u.P), t.bare(u.Treatment, false))
	}
}

// bare gives the answer without light where nothing else does: of whole bins each
// pair's, of plants that of pairs whose verdict is another one.
func (t *teller) bare(treatment int, whole bool) string {
	var pairs []*analysis.Comparison
	for _, c := range t.r.ComparisonsOf(analysis.TreatmentTerm(treatment)) {
		switch {
		case c.WithoutLight == nil:
		case whole && (c.LightDecides() || c.BySlopes()):
			return "" // said beside the answer
		case whole, c.LightDecides():
			pairs = append(pairs, c)
		}
	}
	if len(pairs) == 0 {
		return ""
	}
	return "; without light taken into account, " + t.withoutLight(pairs)
}

// losses says of whom the results speak, and whether losses differ between levels.
func (t *teller) losses() {
	if t.in.Table {
		t.gaps()
		return
	}
	dead, accident := 0, 0
	var treatments []string
	levels := map[string][]string{} // of each treatment
	for _, l := range t.all.Lost {
		if !maps.Equal(l.Of, t.r.Of) {
			continue
		}
		if levels[l.Treatment] == nil {
			treatments = append(treatments, l.Treatment)
		}
		levels[l.Treatment] = append(levels[l.Treatment], lostOn(l))
		if l.Treatment == treatments[0] {
			dead, accident = dead+l.Lost, accident+l.Accident
		}
	}
	if dead > 0 {
		within := ""
		if len(t.r.Of) > 0 {
			var parts []string
			for _, name := range treatments {
				parts = append(parts, fmt.Sprintf("by %s %s", name, strings.Join(levels[name], ", ")))
			}
			within = " (" + strings.Join(parts, "; ") + ")"
		}
		t.say(analysis.Caution, lost, "These results are of the survivors: %s lost%s.", phrase.Were(dead), within)
	}
	if accident > 0 {
		t.say(analysis.Caution, lost, "%d more came to grief by accident, which is no treatment's loss.", accident)
	}
	t.lossesByTreatment()
}

// lostOn words the plants lost on a level.
func lostOn(l analysis.Losses) string {
	return fmt.Sprintf("%d of %d on %s", l.Lost, l.N-l.Accident, l.Level)
}

// lossesByTreatment words the losses of each dealt treatment over all plants, once:
// beside the first result of the primary outcome, else beside the first of all.
func (t *teller) lossesByTreatment() {
	first := max(0, slices.IndexFunc(t.all.Outcomes, func(o analysis.OutcomeResult) bool { return o.Primary && o.Model != "" }))
	if t.r != &t.all.Outcomes[first] {
		return
	}
	byTreatment := map[int][]string{}
	for _, l := range t.all.Lost {
		if l.Of == nil {
			byTreatment[l.Cell.Treatment] = append(byTreatment[l.Cell.Treatment], lostOn(l))
		}
	}
	for _, l := range t.all.Lost {
		counts := byTreatment[l.Cell.Treatment]
		if l.Of != nil || counts == nil || l.P == nil {
			continue
		}
		delete(byTreatment, l.Cell.Treatment)
		all := ""
		if t.in.By != nil {
			all = ", over all plants and within each " + t.in.By.Name
		}
		text := strings.Join(counts, ", ")
		switch {
		case l.Standing.Told == analysis.Claim:
			t.say(analysis.Claim, lost, "Losses differ between the levels of %s: %s (p %s%s).", l.Treatment, text, phrase.P(*l.P), all)
		case *l.P < 0.05:
			t.say(analysis.Open, lost, "Losses look different between the levels of %s: %s (p %s%s); %s.", l.Treatment, text, phrase.P(*l.P), all, t.planned())
		default:
			t.say(analysis.Open, lost, "No difference in losses between the levels of %s was shown: %s (p %s%s).", l.Treatment, text, phrase.P(*l.P), all)
		}
	}
}

// gaps says of a flat table how many plants have no value: some may have been lost.
func (t *teller) gaps() {
	g := &t.r.Gaps
	if !g.Many() {
		return
	}
	var told []string
	for i := 0; i < len(g.By); {
		own := g.By[i]
		var parts []string
		for ; i < len(g.By) && g.By[i].Cell.Treatment == own.Cell.Treatment; i++ {
			parts = append(parts, fmt.Sprintf("%d of %d on %s", g.By[i].Lost, g.By[i].N, g.By[i].Level))
		}
		if own.P != nil && *own.P < 0.05 {
			told = append(told, fmt.Sprintf("%s (%s; p %s)", own.Treatment, strings.Join(parts, ", "), phrase.P(*own.P)))
		}
	}
	unlike := ""
	switch {
	case len(told) == 0 && len(g.By) > 0:
		unlike = "; no treatment was shown to have more of them than another"
	case len(told) > 0:
		unlike = "; not alike by " + phrase.List(told)
	}
	t.say(analysis.Caution, lost, "%d of %d plants have no %s%s: if they were lost, the results are of the survivors, and a treatment that kills the weak looks better than it is.", g.Missing, g.Plants, t.r.Name, unlike)
}
