package answer

import (
	"fmt"
	"math"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// decide says, for whoever has to choose now, which level of a dealt treatment was
// highest, its gain on the reference, how much better another one could still be by the
// interval of all pairs at once, and what the difference costs to run. How likely a level
// is the best is not told: with few replicates such figures are wrong.
func (b *brief) decide() {
	for i := range b.p.rankings {
		r := &b.p.rankings[i]
		t := b.in.Treatments[r.Term.A]
		better, ok := mostBetter(r)
		if !b.p.r.Primary || r.Term.B != analysis.None || t.SetPer == analysis.Given || !ok {
			continue
		}
		best := r.Highest()
		says := fmt.Sprintf("who has to choose a %s now takes %s", t.Name, b.levelName(best.Cell))
		if reference := b.reference(r); reference != nil {
			value, ci := ranking.Turned(r.Contrast, reference.Value, reference.CI95)
			says += fmt.Sprintf(", against %s %s", b.levelName(reference.Cell), contrast{r.Contrast, b.p.r.Unit, value, ci}.short())
		}
		says += "; " + better
		if cost := b.runs(t.Name, best, b.reference(r)); cost != "" {
			says += "; " + cost
		}
		b.say(analysis.Next, analysis.About(r.Term), says)
	}
}

// reference is the treatment's first level, which the highest is set against; nil where
// it is the highest, or was not compared.
func (b *brief) reference(r *ranking.Ranking) *ranking.Level {
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
		return "no other is better", true
	case r.Contrast == kind.Difference:
		return "no other is more than " + phrase.Number(most) + " better", true
	case asFactors(most):
		return "no other is more than " + times(most) + " as good", true
	}
	return "no other is more than " + percent(most-1) + " better", true
}

// runs words what a level's current costs beyond another's a plant, where whole units
// got the treatment and both are known.
func (b *brief) runs(treatment string, best, other *ranking.Level) string {
	e := b.all.Electricity
	if e == nil || other == nil {
		return ""
	}
	cost := func(l *ranking.Level) *float64 {
		for i := range e.Levels {
			if x := &e.Levels[i]; x.Treatment == treatment && x.Level == phrase.Cell(b.in, l.Cell) {
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
