package answer

import (
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/ranking"
)

// Headline is what a result comes to, in a few words: "pumice is behind; more light,
// heavier plants".
func Headline(in *analysis.Input, all *analysis.Result, r *analysis.OutcomeResult) string {
	t := newTeller(in, all)
	p := part{r, outcomeOf(in, r), ranking.All(in, r)}
	if r.Model == "" {
		return "no result"
	}
	var list, unsure []string
	for i := range p.rankings {
		of := &p.rankings[i]
		for _, told := range []analysis.FindingKind{analysis.Claim, analysis.Lead} {
			if levels := toldAs(of.In(ranking.Behind), told); len(levels) > 0 {
				list = append(list, t.areBehind(of, levels)+asLead(told))
			}
		}
		if levels := of.In(ranking.Uncertain); len(levels) > 0 {
			unsure = append(unsure, t.areBehind(of, levels)+", not certain")
		}
	}
	if says := t.lightHeadline(p); says != "" {
		list = append(list, says)
	}
	if list = append(list, unsure...); len(list) > 0 {
		return strings.Join(list, "; ")
	}
	if len(p.rankings) == 0 && len(in.Treatments) > 0 {
		return "described, with nothing beside it"
	}
	return "nothing is told apart yet"
}

// toldAs keeps the levels that are told as the kind.
func toldAs(list []*ranking.Level, told analysis.FindingKind) []*ranking.Level {
	var kept []*ranking.Level
	for _, l := range list {
		if l.Told == told {
			kept = append(kept, l)
		}
	}
	return kept
}

func (t *teller) areBehind(r *ranking.Ranking, levels []*ranking.Level) string {
	if len(levels) == 1 {
		return t.levelName(levels[0].Cell) + " is behind"
	}
	return t.names(r, levels) + " are behind"
}

// asLead marks what is a lead.
func asLead(told analysis.FindingKind) string {
	if told == analysis.Lead {
		return " (a lead)"
	}
	return ""
}

// lightHeadline is what light does, where that is a claim or a lead.
func (t *teller) lightHeadline(p part) string {
	l := p.r.Light
	if best := bestLight(p.r); best != nil {
		return "best near " + t.lightOf(*best.Estimate) + " of light (a lead)"
	}
	if l == nil || l.Slope.Slope == nil || !standsOut(l.Standing) {
		return ""
	}
	less := *l.Slope.Slope < 0
	return "more light, " + moreOf(p, less) + asLead(l.Standing.Told)
}

// moreOf words more of an outcome, or less.
func moreOf(p part, less bool) string {
	words := [...]string{"more " + p.r.Name, "less " + p.r.Name}
	switch k := kind.Of(p.r.Kind); {
	case p.out.Basis != "":
		words = [...]string{"heavier plants", "lighter plants"}
	case k.Counted:
		words[1] = "fewer " + p.r.Name
	case k.Answers:
		words = [...]string{"more plants with " + p.r.Name, "fewer plants with " + p.r.Name}
	}
	if less {
		return words[1]
	}
	return words[0]
}
