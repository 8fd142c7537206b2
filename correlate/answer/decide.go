package answer

import (
	"fmt"
	"math"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// decide says of each dealt treatment of a primary result which level whoever has to
// choose now takes. Of the first one the answer says it.
func (b *brief) decide() {
	for i := range b.p.rankings {
		r := &b.p.rankings[i]
		if chosen := b.chosen(b.p, r); chosen != "" && r.Term != analysis.TreatmentTerm(b.choosing()) {
			b.say(analysis.Next, analysis.About(r.Term), fmt.Sprintf("to choose a %s now, take %s", b.in.Treatments[r.Term.A].Name, chosen))
		}
	}
}

// choosing is the first dealt treatment of which it can be said what to choose; none
// where there is none.
func (t *teller) choosing() int {
	for i := range t.in.Treatments {
		for _, p := range t.parts {
			for k := range p.rankings {
				if r := &p.rankings[k]; r.Term == analysis.TreatmentTerm(i) && t.chosen(p, r) != "" {
					return i
				}
			}
		}
	}
	return analysis.None
}

// choice says of the first such treatment which level whoever has to choose now takes,
// for each value of analyse_by.
func (t *teller) choice() string {
	treatment := t.choosing()
	if treatment == analysis.None {
		return ""
	}
	var list []string
	for _, p := range t.parts {
		for k := range p.rankings {
			r := &p.rankings[k]
			chosen := ""
			if r.Term == analysis.TreatmentTerm(treatment) {
				chosen = t.chosen(p, r)
			}
			switch {
			case chosen == "" || len(list) == mostParts:
			case len(t.parts) > 1:
				list = append(list, "for "+t.title(p.r)+" "+chosen)
			default:
				list = append(list, chosen)
			}
		}
	}
	return fmt.Sprintf("to choose a %s now, take %s", t.in.Treatments[treatment].Name, strings.Join(list, "; "))
}

// chosen names the highest level of a dealt treatment of a primary result, with its gain
// on the reference, how much better another one could still be by the interval of all
// pairs at once, and what the difference costs to run; "" where that can't be said. How
// likely a level is the best is not told: with few replicates such figures are wrong.
func (t *teller) chosen(p part, r *ranking.Ranking) string {
	if !p.r.Primary || r.Term.B != analysis.None || t.in.Treatments[r.Term.A].SetPer == analysis.Given {
		return ""
	}
	better, ok := mostBetter(r)
	if !ok {
		return ""
	}
	best, reference := r.Highest(), reference(r)
	var beside []string
	if reference != nil {
		value, ci := ranking.Turned(r.Contrast, reference.Value, reference.CI95)
		beside = append(beside, fmt.Sprintf("against %s %s", t.levelName(reference.Cell), contrast{r.Contrast, p.r.Unit, value, ci}.short()))
	}
	beside = append(beside, better)
	if cost := t.runs(t.in.Treatments[r.Term.A].Name, best, reference); cost != "" {
		beside = append(beside, cost)
	}
	if lost := t.lostMost(best); lost != "" {
		beside = append(beside, lost)
	}
	return t.levelName(best.Cell) + ", " + strings.Join(beside, ", ")
}

// lostMost warns of a level on which most plants were lost, where that is a claim.
func (t *teller) lostMost(l *ranking.Level) string {
	for _, of := range lossesBy(t.all) {
		if worst := of.levels[0]; of.told && len(l.Cell) == 1 && worst.Cell == l.Cell[0] {
			return fmt.Sprintf("but it lost %d of %d plants", worst.Lost, worst.N-worst.Accident)
		}
	}
	return ""
}

// reference is the treatment's first level, which the highest is set against; nil where
// it is the highest, or was not compared.
func reference(r *ranking.Ranking) *ranking.Level {
	for i := range r.Levels[1:] {
		if l := &r.Levels[1+i]; l.Cell[0].Level == 0 && l.Value != nil && l.CI95.Closed() != nil {
			return l
		}
	}
	return nil
}

// mostBetter words the largest upper limit of the other levels over the highest; ok is
// false where one of them has none.
func mostBetter(r *ranking.Ranking) (says string, ok bool) {
	most := math.Inf(-1)
	for i := range r.Levels[1:] {
		ci := r.Levels[1+i].CI95.Closed()
		if ci == nil {
			return "", false
		}
		most = max(most, ci[1])
	}
	switch {
	case most <= r.Contrast.None():
		return "no other better", true
	case r.Contrast == kind.Difference:
		return "no other more than " + phrase.Number(most) + " better", true
	case asFactors(most):
		return "no other more than " + times(most) + " as good", true
	}
	return "no other more than " + percent(most-1) + " better", true
}

// runs words what a level's current costs beyond another's a plant, where whole units
// got the treatment and both are known.
func (t *teller) runs(treatment string, best, other *ranking.Level) string {
	e := t.all.Electricity
	if e == nil || other == nil {
		return ""
	}
	cost := func(l *ranking.Level) *float64 {
		for i := range e.Levels {
			if x := &e.Levels[i]; x.Treatment == treatment && x.Level == phrase.Cell(t.in, l.Cell) {
				return x.CostPerPlant
			}
		}
		return nil
	}
	more, less := cost(best), cost(other)
	if more == nil || less == nil {
		return ""
	}
	return fmt.Sprintf("a plant takes %s %s of electricity instead of %s", e.Currency, phrase.Number(*more), phrase.Number(*less))
}
