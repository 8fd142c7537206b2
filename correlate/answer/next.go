package answer

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// next says what to do: what to look at again, and how large another trial would have
// to be for what is not settled, with what its current would cost.
func (t *teller) next() string {
	var list []string
	if says := t.choice(); says != "" {
		list = append(list, says)
	}
	if says := t.suspects(); says != "" {
		list = append(list, says)
	}
	if says := t.drop(); says != "" {
		list = append(list, says)
	}
	if says := t.sizes(); says != "" {
		list = append(list, says)
	}
	for _, name := range t.single() {
		list = append(list, fmt.Sprintf("give each level of %s two whole units or more", name))
	}
	return strings.Join(list, "; ")
}

// suspects names plants to look at again.
func (t *teller) suspects() string {
	const most = 2
	var names []string
	n := 0
	for _, p := range t.parts {
		for i := range p.r.Suspects {
			s := &p.r.Suspects[i]
			if n++; n > most {
				continue
			}
			names = append(names, fmt.Sprintf("%s (%s)", phrase.Plant(s.Plant, t.in.Table), phrase.Unit(phrase.Number(s.Value), p.r.Unit)))
		}
	}
	if n == 0 {
		return ""
	}
	if n > most {
		names = append(names, fmt.Sprintf("%d more", n-most))
	}
	return "look again at " + phrase.List(names) + ", far off"
}

// needs are, for each treatment in which something of a part is not told apart, the
// largest need of it; at most two.
func (t *teller) needs() []analysis.Need {
	const most = 2
	var list []analysis.Need
	if t.all.NextTrial == nil {
		return nil
	}
	for _, tr := range t.in.Treatments {
		var largest *analysis.Need
		for i := range t.all.NextTrial.Needs {
			n := &t.all.NextTrial.Needs[i]
			if n.Treatment == tr.Name && t.unsettled(n) && (largest == nil || n.Replicates() > largest.Replicates()) {
				largest = n
			}
		}
		if largest != nil && len(list) < most {
			list = append(list, *largest)
		}
	}
	return list
}

// unsettled tells whether something is left to settle of what a need is of.
func (t *teller) unsettled(n *analysis.Need) bool {
	for _, p := range t.parts {
		if p.r.Name != n.Outcome || !maps.Equal(p.r.Of, n.Of) {
			continue
		}
		for i := range p.rankings {
			r := &p.rankings[i]
			if r.Term.B == analysis.None && t.in.Treatments[r.Term.A].Name == n.Treatment {
				tested := func(l *ranking.Level) bool { return l.Pair != nil && l.Pair.P != nil }
				return len(r.In(ranking.NotApart)) > 0 || slices.ContainsFunc(r.In(ranking.Unknown), tested) || !r.Compared
			}
		}
	}
	return true
}

// sizes words what treatments take that are not settled, with the price of a season's
// current.
func (t *teller) sizes() string {
	var list []string
	more, filled := false, racksOrSeasons
	for i, n := range t.needs() {
		text := size(n, filled)
		if i == 0 {
			text = fmt.Sprintf("settling %s takes about %s", settles(n), text)
		}
		list = append(list, text)
		if k := fillings(n); k > 0 {
			more = true
			if k <= analysis.MostTimes {
				filled = "such" // said just before
			}
		}
	}
	says := phrase.List(list)
	if e := t.all.Electricity; more && e != nil && e.Cost != nil {
		says += fmt.Sprintf("; this season's electricity was %s %s", e.Currency, phrase.Number(*e.Cost))
	}
	return says
}

// size words what a treatment takes: "247 plants a level of medium (7 such racks or
// seasons)".
func size(n analysis.Need, filled string) string {
	return fmt.Sprintf("%d %ss a level of %s%s", n.Replicates(), n.Unit, n.Treatment, racks(n, filled))
}

// replicates words the same of a treatment that is named already.
func replicates(n analysis.Need) string {
	return fmt.Sprintf("%d %ss a level%s", n.Replicates(), n.Unit, racks(n, racksOrSeasons))
}

const racksOrSeasons = "such racks or seasons"

// racks says how often the rack has to be filled where it is more than once, in the
// words for a rack that is filled.
func racks(n analysis.Need, filled string) string {
	switch k := fillings(n); {
	case k == 0:
		return ""
	case k > analysis.MostTimes:
		return " (more than this rack will ever hold)"
	default:
		return fmt.Sprintf(" (%d %s)", k, filled)
	}
}

// fillings is how often the rack has to be filled; 0 where once is enough, or that is not
// known.
func fillings(n analysis.Need) int {
	if n.RackHolds == nil || *n.RackHolds == 0 || n.Replicates() <= *n.RackHolds {
		return 0
	}
	return (n.Replicates() + *n.RackHolds - 1) / *n.RackHolds
}

// drop names levels of dealt treatments that are behind wherever they were compared.
func (t *teller) drop() string {
	var names []string
	for i := range t.in.Treatments {
		if tr := &t.in.Treatments[i]; tr.SetPer == analysis.Given || t.in.Table {
			continue
		}
		behind, seen := map[int]int{}, map[int]int{}
		for _, p := range t.parts {
			for _, r := range p.rankings {
				if r.Term != analysis.TreatmentTerm(i) {
					continue
				}
				for _, l := range r.Levels {
					seen[l.Cell[0].Level]++
					if l.Place == ranking.Behind && l.Told == analysis.Claim {
						behind[l.Cell[0].Level]++
					}
				}
			}
		}
		left := len(seen)
		for level := range t.in.Treatments[i].Levels {
			if behind[level] > 0 && behind[level] == seen[level] && left > 2 {
				left--
				names = append(names, t.levelName(analysis.Cell{{Treatment: i, Level: level}}))
			}
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "leave out " + phrase.List(names)
}

// settles words the difference that a need is about.
func settles(n analysis.Need) string {
	switch {
	case n.Shares != nil:
		return fmt.Sprintf("%s against %s", phrase.WholePercent(n.Shares[0]), phrase.WholePercent(n.Shares[1]))
	case n.Ratio != nil && *n.Ratio < 2:
		return percent(*n.Ratio - 1)
	case n.Ratio != nil:
		return times(*n.Ratio)
	case n.Difference != nil:
		return "a difference of " + phrase.Number(*n.Difference)
	}
	return "a difference"
}

// single are treatments of whole units with one a level, of which nothing can be
// concluded.
func (t *teller) single() []string {
	var names []string
	for i, tr := range t.in.Treatments {
		for _, p := range t.parts {
			for _, r := range p.rankings {
				if r.Term == analysis.TreatmentTerm(i) && !r.Compared && r.Unit != perPlant && r.Unit != "" {
					names = append(names, tr.Name)
				}
			}
		}
	}
	return unique(names)
}

func unique(list []string) []string {
	var kept []string
	seen := map[string]bool{}
	for _, s := range list {
		if !seen[s] {
			seen[s] = true
			kept = append(kept, s)
		}
	}
	return kept
}
