package answer

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// mostParts is how many values of analyse_by, or outcomes, have a sentence each.
const mostParts = 3

// levels says of each part which levels are highest and what is behind them; parts of
// which something can be claimed come first.
func (t *teller) levels() []candidate {
	var claims, others []candidate
	for _, p := range t.parts {
		var said []string
		for i := range p.rankings {
			if r := &p.rankings[i]; r.Told(analysis.Claim) {
				said = append(said, t.ranked(p, r))
			}
		}
		switch first := p.first(); {
		case len(said) > 0:
			claims = append(claims, t.levelled(p, said))
		case first != nil:
			others = append(others, t.levelled(p, []string{t.ranked(p, first)}))
		}
	}
	list := append(claims, others...)
	if more := len(list) - mostParts; more > 0 {
		list = list[:mostParts]
		list[mostParts-1].Says += " " + further(more)
	}
	return list
}

func further(n int) string {
	if n == 1 {
		return "One more answer of this kind stands below."
	}
	return phrase.Capital(phrase.Few(n)) + " more answers of this kind stand below."
}

// first is the treatment that is told of where none can be claimed: the first that
// was compared among plants, else among whole units, if by enough of them.
func (p *part) first() *ranking.Ranking {
	var found *ranking.Ranking
	for i := range p.rankings {
		r := &p.rankings[i]
		if r.Tells() && (found == nil || found.Unit != perPlant && r.Unit == perPlant) {
			found = r
		}
	}
	return found
}

// levelled is the sentence of a part.
func (t *teller) levelled(p part, said []string) candidate {
	const most = 2
	if len(said) > most {
		said = append(said[:most:most], "more stands below")
	}
	return candidate{analysis.Sentence{Lead: t.title(p.r), Says: ended(strings.Join(said, "; "))}, leading}
}

// ranked words the levels of a treatment.
func (t *teller) ranked(p part, r *ranking.Ranking) string {
	if r.Term.B != analysis.None {
		return t.crossed(p, r)
	}
	top, behind, uncertain := r.In(ranking.Highest, ranking.NotApart, ranking.Alike), r.In(ranking.Behind), r.In(ranking.Uncertain)
	says := []string{t.topmost(p, r, top)}
	switch other := t.otherClaim(p, r); {
	case len(behind) > 0:
		says = append(says, t.isBehind(p, r, behind))
	case other != "":
		says = append(says, "but "+other)
	case len(uncertain) == 0:
		says = append(says, t.widest(p, r))
	}
	if len(uncertain) > 0 {
		says = append(says, t.uncertain(p, uncertain, r.Highest()))
	}
	return joined(says)
}

// crossed words the cells of two treatments that depend on one another.
func (t *teller) crossed(p part, r *ranking.Ranking) string {
	says := []string{
		fmt.Sprintf("what %s does depends on %s", t.in.Treatments[r.Term.A].Name, t.in.Treatments[r.Term.B].Name),
		fmt.Sprintf("%s gave %s (%s)", t.cell(r.Highest()), most(p), means(p.r, []*ranking.Level{r.Highest()})),
	}
	if behind := r.In(ranking.Behind); len(behind) > 0 {
		says = append(says, fmt.Sprintf("%s is behind, %s", t.cell(behind[0]), measured(p.r, behind[0]).below(t.cell(r.Highest()))))
	} else {
		says = append(says, t.otherClaim(p, r))
	}
	return joined(says)
}

// joined joins what there is.
func joined(says []string) string {
	var list []string
	for _, s := range says {
		if s != "" {
			list = append(list, s)
		}
	}
	return strings.Join(list, "; ")
}

// topmost names the highest levels with their means.
func (t *teller) topmost(p part, r *ranking.Ranking, top []*ranking.Level) string {
	named, name := few(top), t.names(r, top)
	all := len(top) == len(r.Levels)
	switch {
	case all && len(r.In(ranking.NotApart)) == 0 && p.out.Matters != nil:
		return fmt.Sprintf("%s are alike to within %s: %s", name, matters(p), t.meansOf(p, named))
	case all && len(r.Levels) == 2:
		return fmt.Sprintf("%s can't be told apart yet: %s", name, t.meansOf(p, named))
	case all:
		return fmt.Sprintf("no level of %s can be told from the highest yet: %s", t.treatment(r.Term), t.meansOf(p, named))
	}
	value := means(p.r, named)
	if len(named) < len(top) {
		value = "the first " + value
	}
	text := fmt.Sprintf("%s gave %s (%s)", name, most(p), value)
	if len(top) > 1 {
		text += ", and can't be told apart"
	}
	return text
}

// meansOf lists levels with their means: "bark 18.1, coir 16.7 g".
func (t *teller) meansOf(p part, levels []*ranking.Level) string {
	var list []string
	for i, l := range levels {
		value := means(p.r, []*ranking.Level{l})
		if i < len(levels)-1 && !kind.Of(p.r.Kind).Answers {
			value = phrase.Number(*l.Mean())
		}
		list = append(list, t.cell(l)+" "+value)
	}
	return phrase.List(list)
}

// most words the highest of an outcome: "the heaviest plants", "the most leaves".
func most(p part) string {
	switch k := kind.Of(p.r.Kind); {
	case p.out.Basis != "":
		return "the heaviest plants"
	case k.Counted, k.Answers:
		return "the most " + p.r.Name
	}
	return "the highest " + p.r.Name
}

func matters(p part) string {
	if m := p.out.Matters; m.Share {
		return percent(m.Value)
	}
	return phrase.Unit(phrase.Number(p.out.Matters.Value), p.r.Unit)
}

// isBehind says which levels are behind, and by how much: the first and the last.
func (t *teller) isBehind(p part, r *ranking.Ranking, behind []*ranking.Level) string {
	best := t.levelName(r.Highest().Cell)
	first, last := behind[0], behind[len(behind)-1]
	if first == last {
		return fmt.Sprintf("%s is behind, %s", t.levelName(first.Cell), measured(p.r, first).below(best))
	}
	between := " to "
	if len(behind) == 2 {
		between = " and "
	}
	return fmt.Sprintf("%s are behind %s, by %s%s%s", t.names(r, behind), best, measured(p.r, first).by(), between, measured(p.r, last).by())
}

// otherClaim words the clearest pair that may be claimed, where none of the highest
// level's may.
func (t *teller) otherClaim(p part, r *ranking.Ranking) string {
	var found *analysis.Comparison
	for _, c := range r.Pairs {
		if c.Standing.Told == analysis.Claim && c.P != nil && (found == nil || *c.P < *found.P) {
			found = c
		}
	}
	if found == nil {
		return ""
	}
	return t.pair(p.r, found)
}

// pair words a comparison that differs, the lower level first.
func (t *teller) pair(r *analysis.OutcomeResult, c *analysis.Comparison) string {
	low, high, against := lower(r, c)
	return fmt.Sprintf("%s is %s", t.levelName(low), against.below(t.levelName(high)))
}

// lower turns a comparison so that the lower level is set against the higher.
func lower(r *analysis.OutcomeResult, c *analysis.Comparison) (low, high analysis.Cell, against contrast) {
	read := ranking.Read(r, c)
	how := kind.Compared(r.Kind, r.Scale)
	value, ci := read.Value(), read.Limits
	if read.Verdict != analysis.Larger {
		return c.CellA, c.CellB, contrast{how, r.Unit, value, ci}
	}
	value, ci = ranking.Turned(how, value, ci)
	return c.CellB, c.CellA, contrast{how, r.Unit, value, ci}
}

// widest says how far the lowest level may lie from the highest where nothing was told
// apart.
func (t *teller) widest(p part, r *ranking.Ranking) string {
	last := &r.Levels[len(r.Levels)-1]
	if last.Place != ranking.NotApart || last.CI95.Closed() == nil {
		return ""
	}
	return fmt.Sprintf("%s may lie anywhere %s", t.levelName(last.Cell), measured(p.r, last).around(t.levelName(r.Highest().Cell)))
}

// uncertain names levels that look behind and may not be.
func (t *teller) uncertain(p part, list []*ranking.Level, best *ranking.Level) string {
	last := list[len(list)-1]
	name, below := t.levelName(last.Cell), measured(p.r, last).below(t.levelName(best.Cell))
	if n := len(list) - 1; n > 0 {
		return fmt.Sprintf("%s, %s, and %s more look behind, which is not certain%s", name, below, phrase.Few(n), t.among())
	}
	return fmt.Sprintf("%s looks behind, %s, which is not certain%s", name, below, t.among())
}

// among says how many questions were asked where that keeps something from being
// certain.
func (t *teller) among() string {
	if n := t.all.Questions.Planned; n > 1 {
		return fmt.Sprintf(" (one of %s questions asked)", phrase.Few(n))
	}
	return ""
}

// levelName names a level as a sentence can have it: after its treatment where it says
// too little by itself ("B", "0.2").
func (t *teller) levelName(cell analysis.Cell) string {
	name := phrase.Cell(t.in, cell)
	if len(cell) == 1 && t.bare(cell[0].Treatment) {
		return t.in.Treatments[cell[0].Treatment].Name + " " + name
	}
	return name
}

// bare tells whether a treatment has a level whose name says too little by itself.
func (t *teller) bare(treatment int) bool {
	for _, level := range t.in.Treatments[treatment].Levels {
		if first, _ := utf8.DecodeRuneInString(level); utf8.RuneCountInString(level) < 3 || !unicode.IsLetter(first) {
			return true
		}
	}
	return false
}

// mostNamed is how many levels are named one by one.
const mostNamed = 4

// names lists levels of a ranking; of many the first ones.
func (t *teller) names(r *ranking.Ranking, levels []*ranking.Level) string {
	var list []string
	for _, l := range few(levels) {
		list = append(list, t.cell(l))
	}
	if n := len(levels) - len(list); n > 0 {
		list = append(list, phrase.Few(n)+" more")
	}
	text := phrase.List(list)
	if r.Term.B == analysis.None && t.bare(r.Term.A) {
		return t.in.Treatments[r.Term.A].Name + " " + text
	}
	return text
}

// few are the levels that names names.
func few(levels []*ranking.Level) []*ranking.Level {
	if len(levels) > mostNamed {
		return levels[:mostNamed-1]
	}
	return levels
}
