package answer

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// open names what was asked of treatments and is not answered, with how much is left
// possible. What the sentences on levels tell is left out.
func (t *teller) open() string {
	var list []string
	for i := range t.in.Treatments {
		if says := t.openTreatment(i); says != "" {
			list = append(list, says)
		}
	}
	if says := t.described(); says != "" {
		list = append(list, says)
	}
	if says := t.unanswered(); says != "" {
		list = append(list, says)
	}
	const most = 3
	if len(list) > most {
		list = append(list[:most:most], "more below")
	}
	return strings.Join(list, "; ")
}

// openTreatment words the widest of what a treatment may still do, over parts in which
// nothing of it can be claimed.
func (t *teller) openTreatment(treatment int) string {
	var of *part
	var widest *ranking.Ranking
	for k := range t.parts {
		p := &t.parts[k]
		for i := range p.rankings {
			r := &p.rankings[i]
			if r.Term != analysis.TreatmentTerm(treatment) || r.Told(analysis.Claim) || p.tells(r) {
				continue
			}
			if widest == nil || width(r) > width(widest) {
				of, widest = p, r
			}
		}
	}
	if widest == nil {
		return ""
	}
	name, where := t.in.Treatments[treatment].Name+": ", ""
	if len(t.parts) > 1 {
		where = " in " + t.title(of.r)
	}
	if units := t.units(of.r, treatment, widest.Unit); units != "" {
		where += ", with " + units
	}
	last := widest.Levels[len(widest.Levels)-1]
	low, high, against := t.levelName(last.Cell), t.levelName(widest.Highest().Cell), measured(of.r, &last)
	switch {
	case last.Place == ranking.Unknown, last.Place == ranking.NotApart && last.CI95.Closed() == nil:
		return name + "too few to tell" + where
	case last.Place == ranking.Alike:
		return name + "the levels are alike to within what matters" + where
	case t.bare(treatment):
		name = ""
	}
	if last.Place == ranking.Uncertain {
		return fmt.Sprintf("%s%s looks %s%s, which is not certain%s", name, low, against.below(high), where, t.among())
	}
	return fmt.Sprintf("%s%s may lie anywhere %s%s", name, low, against.around(high), where)
}

// tells tells whether the part's sentence on levels is of the treatment though nothing
// of it can be claimed.
func (p *part) tells(r *ranking.Ranking) bool {
	if slices.ContainsFunc(p.rankings, func(x ranking.Ranking) bool { return x.Told(analysis.Claim) }) {
		return false
	}
	first := p.first()
	return first != nil && first.Term == r.Term
}

// width is how wide the lowest level's interval is.
func width(of *ranking.Ranking) float64 {
	last := of.Levels[len(of.Levels)-1]
	ci := last.CI95.Closed()
	switch {
	case ci == nil:
		return 0
	case of.Contrast.None() == 1 && ci[0] > 0:
		return math.Log(ci[1] / ci[0])
	}
	return ci[1] - ci[0]
}

// units counts the bins or reservoirs of a level where these are the replicates: "two
// bins a level".
func (t *teller) units(r *analysis.OutcomeResult, treatment int, unit string) string {
	of := t.in.Bin
	if unit == string(model.PerReservoir) {
		of = t.in.Reservoir
	}
	if unit == perPlant || unit == "" || of == nil {
		return ""
	}
	seen := map[int]map[int]bool{}
	for _, p := range r.Points {
		level, b := t.in.Treatments[treatment].Codes[p.Row], of.Codes[p.Row]
		if level != analysis.Blank && b != analysis.Blank {
			if seen[level] == nil {
				seen[level] = map[int]bool{}
			}
			seen[level][b] = true
		}
	}
	least, most := math.MaxInt, 0
	for _, units := range seen {
		least, most = min(least, len(units)), max(most, len(units))
	}
	switch {
	case most == 0:
		return ""
	case least == 1 && most == 1:
		return "one " + unit + " a level"
	case least == most:
		return fmt.Sprintf("%s %ss a level", phrase.Few(most), unit)
	}
	return fmt.Sprintf("%s to %s %ss a level", phrase.Few(least), phrase.Few(most), unit)
}

// described names values of analyse_by whose plants have nothing to be compared by.
func (t *teller) described() string {
	var names []string
	for _, p := range t.parts {
		if p.r.Model != "" && len(p.rankings) == 0 && len(t.in.Treatments) > 0 && of(p.r) != "" && !slices.Contains(names, of(p.r)) {
			names = append(names, of(p.r))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return fmt.Sprintf("%s, with nothing beside it to be compared with", phrase.List(names))
}

// unanswered names what could not be computed.
func (t *teller) unanswered() string {
	var names []string
	for _, p := range t.parts {
		if p.r.Model == "" && !slices.Contains(names, t.title(p.r)) {
			names = append(names, t.title(p.r))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return "nothing could be computed of " + phrase.List(names)
}
