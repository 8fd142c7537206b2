package answer

import (
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/ranking"
)

// without says what is other when a plant that lies far off is left out; "" where that is
// nothing, or is not known.
func (t *teller) without(p part, s *analysis.Suspect) string {
	if s.Without == nil || p.r.SpreadsDiffer() {
		return ""
	}
	for _, with := range Told(t.in, p.r) {
		less, ok := ranking.Of(s.Without, with.Term)
		if !ok {
			continue
		}
		best := less.Highest().Cell
		if best.Apart(with.Highest().Cell) != 0 {
			return t.levelName(best) + " is highest"
		}
		for _, l := range with.Levels[1:] {
			i := slices.IndexFunc(less.Levels, func(x ranking.Level) bool { return x.Cell.Apart(l.Cell) == 0 })
			switch {
			case i < 0:
			case !below(l) && below(less.Levels[i]):
				return t.levelName(l.Cell) + " is behind " + t.levelName(best) + " too"
			case below(l) && !below(less.Levels[i]):
				return t.levelName(l.Cell) + " is no longer told apart from " + t.levelName(best)
			}
		}
	}
	return ""
}

// below tells whether a level's own interval leaves it below the highest.
func below(l ranking.Level) bool {
	return l.Place == ranking.Behind || l.Place == ranking.Uncertain
}

// Without is a result's ranking of a term when the plant that turns the order round is
// left out; ok is false where none does.
func Without(r *analysis.OutcomeResult, with *ranking.Ranking) (plant string, less ranking.Ranking, ok bool) {
	for i := range r.Suspects {
		s := &r.Suspects[i]
		if s.Without == nil || r.SpreadsDiffer() {
			continue
		}
		if less, ok := ranking.Of(s.Without, with.Term); ok && less.Highest().Cell.Apart(with.Highest().Cell) != 0 {
			return s.Plant, less, true
		}
	}
	return "", ranking.Ranking{}, false
}
