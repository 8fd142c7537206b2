package sentences

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// teller words the findings of one outcome: short sentences with number,
// interval and unit. A sentence claims a direction only where the interval it
// quotes leaves no difference out; else it says that nothing was shown, and
// what would show it.
type teller struct {
	in  *analysis.Input
	out *analysis.Outcome
	r   *analysis.OutcomeResult

	next []analysis.Need // what a next trial of this outcome needs
	says []string
}

func (t *teller) say(format string, args ...any) {
	t.says = append(t.says, fmt.Sprintf(format, args...))
}

// Of words the findings of one outcome.
func Of(in *analysis.Input, r *analysis.OutcomeResult, all *analysis.Result) []string {
	i := slices.IndexFunc(in.Outcomes, func(o analysis.Outcome) bool { return o.Name == r.Name })
	t := &teller{in: in, out: &in.Outcomes[i], r: r, says: []string{}, next: all.NextTrial.NeedsOf(r)}
	if r.Model == "" {
		for _, c := range r.Checks {
			if c.Check == "model" {
				t.say("No result: %s.", c.Says)
			}
		}
		return t.says
	}
	t.standing(all)
	t.described()
	if !t.constant() {
		t.treatments()
		t.covariates()
		t.light()
		t.place()
		t.electricity(all)
	}
	t.suspects()
	t.losses(all)
	for _, n := range t.next {
		t.say("Next trial: %s", n.Says)
	}
	return t.says
}

// standing says what kind of answer follows.
func (t *teller) standing(all *analysis.Result) {
	if t.in.Early {
		t.say("An early look, before the trial ends: it is not the planned answer, and looking often finds something by chance.")
	}
	switch {
	case t.in.Table:
	case t.r.Primary && t.r.Planned && t.in.Early:
		t.say("The primary outcome: once the trial has ended, it gives the planned answer.")
	case t.r.Primary && t.r.Planned:
		t.say("The planned answer of this trial.")
	case t.r.Primary:
		t.say("The primary outcome, but no plan was sealed before the plants were dealt: nothing shows that it was chosen beforehand.")
	case t.r.Planned:
		t.say("A planned outcome beside the primary one.")
	default:
		t.say("Exploratory: what stands out here is a lead for the next trial.")
	}
	if t.r.Primary {
		for _, d := range all.Departures {
			t.say("Departure from the plan: %s", d)
		}
	}
}

// described says what cannot be compared because these plants have one level.
func (t *teller) described() {
	var names []string
	for _, g := range t.r.Groups {
		if g.N == t.r.N && len(g.Cell) == 1 {
			names = append(names, t.in.Treatments[g.Cell[0].Treatment].Name)
		}
	}
	if len(names) == 0 {
		return
	}
	mean := t.r.Groups[0].Mean
	text := ""
	if mean != nil && !kind.Of(t.r.Kind).Answers {
		text = fmt.Sprintf(" Their mean is %s", phrase.Unit(phrase.Number(*mean), t.r.Unit))
		if sd := t.r.Groups[0].SD; sd != nil {
			text += fmt.Sprintf(" (standard deviation %s)", phrase.Number(*sd))
		}
		text += "."
	}
	t.say("All %d plants have the same %s: they are described, and nothing is concluded about it; plants of another level on the same rack would answer it.%s", t.r.N, phrase.List(names), text)
}

// constant says so where nothing varies; there is nothing else to say then.
func (t *teller) constant() bool {
	if !kind.Of(t.r.Kind).Answers {
		return false
	}
	yes := 0.0
	for _, p := range t.r.Points {
		yes += p.Value
	}
	switch yes {
	case 0:
		t.say("None of the %d plants had %s: nothing can be compared. At most %s of plants like these would (95 %% limit).", t.r.N, t.r.Name, phrase.Percent(1-math.Pow(0.05, 1/float64(t.r.N))))
		return true
	case float64(t.r.N):
		t.say("All of the %d plants had %s: nothing can be compared.", t.r.N, t.r.Name)
		return true
	}
	return false
}

// treatments words every treatment, by cells where two depend on one another.
func (t *teller) treatments() {
	dependent := map[int]bool{}
	for _, e := range t.r.Effects {
		if e.Term.Kind == model.KindInteraction && e.P != nil && *e.P < 0.05 {
			t.say("%s: what one does depends on the other (p %s), so averages over either mislead and the cells are compared.", e.Effect, phrase.P(*e.P))
			dependent[e.Term.A], dependent[e.Term.B] = true, true
			t.pairs(e, slices.DeleteFunc(t.comparisonsOf(e.Term), func(c analysis.Comparison) bool { return c.CellA.Apart(c.CellB) > 1 }))
		}
	}
	for i := range t.in.Treatments {
		if e := analysis.Find(t.r.Effects, analysis.TreatmentTerm(i)); e != nil && !dependent[i] {
			t.treatment(*e)
		}
	}
}

func (t *teller) treatment(e analysis.Effect) {
	if e.P == nil {
		for _, c := range t.r.Checks {
			if (c.Check == "not tested" || c.Check == "model") && c.Of == e.Effect {
				t.say("%s: %s.", e.Effect, c.Says)
				return
			}
		}
		t.say("%s was not tested.", e.Effect)
		return
	}
	pairs := t.comparisonsOf(e.Term)
	lead := e.PFDR != nil && *e.PFDR >= 0.05 && *e.P < 0.05
	switch {
	case lead:
		t.say("%s: the levels look different (p %s), but among all results looked at here it may well be chance (false discovery rate %s): a lead, nothing was shown.", e.Effect, phrase.P(*e.P), phrase.P(*e.PFDR))
		return
	case *e.P >= 0.05 && len(pairs) != 1:
		t.say("%s: no difference in %s was shown (p %s, %s%s).", e.Effect, t.r.Name, phrase.P(*e.P), t.replicates(e.Unit), t.adjusted(e.Term))
	case len(pairs) != 1:
		t.say("%s: its levels differ in %s (p %s, %s%s).", e.Effect, t.r.Name, phrase.P(*e.P), t.replicates(e.Unit), t.adjusted(e.Term))
	}
	if e.PRedealt != nil && (*e.PRedealt < 0.05) != (*e.P < 0.05) {
		t.say("%s: dealing the labels anew gives p %s, which lies on the other side of 0.05: read this one with care.", e.Effect, phrase.P(*e.PRedealt))
	}
	t.pairs(e, pairs)
}

func (t *teller) comparisonsOf(term analysis.Term) []analysis.Comparison {
	var list []analysis.Comparison
	for _, c := range t.r.Comparisons {
		if c.Term == term {
			list = append(list, c)
		}
	}
	return list
}

// replicates says what was replicated.
func (t *teller) replicates(unit string) string {
	switch unit {
	case "bin", "reservoir":
		return "whole " + unit + "s are the replicates"
	}
	return "single plants are the replicates"
}

// adjusted says what an effect was adjusted for.
func (t *teller) adjusted(term analysis.Term) string {
	var names []string
	own := analysis.Find(t.r.Effects, term)
	for _, e := range t.r.Effects {
		switch {
		case e.Term.OfTreatments(), e.Test == "", e.Term == analysis.LightTerm() && t.in.SetsLight(term):
		case own != nil && own.Unit == "plant" && e.Unit != "plant":
		case own != nil && own.Unit != "plant" && e.Term.Kind == model.KindBin:
		default:
			names = append(names, t.shown(e))
		}
	}
	if len(names) == 0 {
		return ""
	}
	return ", adjusted for " + phrase.List(names)
}

// shown is an effect's name with the column's beside where that says more:
// "bin (shelf)".
func (t *teller) shown(e analysis.Effect) string {
	column := e.Effect
	switch e.Term.Kind {
	case model.KindBin:
		column = t.in.Bin.Name
	case model.KindBlock:
		column = t.in.Block.Name
	case model.KindLight:
		column = t.in.Light.Name
	}
	if column == e.Effect {
		return e.Effect
	}
	return fmt.Sprintf("%s (%s)", e.Effect, column)
}

// mostPairs is how many pairs of one treatment are worded one by one.
const mostPairs = 6

// pairs words comparisons: those that show something one by one, the others
// one by one where they are few.
func (t *teller) pairs(e analysis.Effect, pairs []analysis.Comparison) {
	var shown, open []analysis.Comparison
	for _, c := range pairs {
		if c.Verdict == analysis.CantTell || c.Verdict == "" {
			open = append(open, c)
		} else {
			shown = append(shown, c)
		}
	}
	for i, c := range shown {
		if i == mostPairs {
			t.say("%s: %d more pairs differ or are alike; they stand in the table.", e.Effect, len(shown)-mostPairs)
			break
		}
		t.pair(c, len(pairs) == 1)
	}
	switch {
	case len(open) == 0:
	case len(open) <= 2:
		for _, c := range open {
			t.pair(c, len(pairs) == 1)
		}
	default:
		t.manyOpen(e, open, len(pairs))
	}
}

// pair words one comparison by its verdict.
func (t *teller) pair(c analysis.Comparison, alone bool) {
	about := t.about(c)
	if alone {
		about += fmt.Sprintf("; p %s, %s%s", phrase.P(*c.P), t.replicates(c.Unit), t.adjusted(c.Term))
	}
	first, second := phrase.Cell(t.in, c.CellA), phrase.Cell(t.in, c.CellB)
	if len(c.CellA) == 1 {
		first = c.Treatment + " " + first
	}
	switch c.Verdict {
	case analysis.Larger:
		t.say("%s lies above %s in %s: %s.", first, second, t.r.Name, about)
	case analysis.Smaller:
		t.say("%s lies below %s in %s: %s.", first, second, t.r.Name, about)
	case analysis.Equivalent:
		t.say("%s and %s are alike in %s to within %s: %s.", first, second, t.r.Name, t.matters(), about)
	default:
		t.say("Between %s and %s no difference in %s was shown: %s%s.", first, second, t.r.Name, about, t.wouldShow(c))
	}
}

// about words a comparison's number and interval.
func (t *teller) about(c analysis.Comparison) string {
	var value *float64
	switch {
	case c.Difference != nil:
		value = c.Difference
	case c.Ratio != nil:
		value = c.Ratio
	}
	if value == nil || c.CI95 == nil {
		return t.shares(c) + "one of the answers never came, so there is no odds ratio"
	}
	return t.shares(c) + t.span(*value, *c.CI95)
}

// shares words the raw shares of a yes/no pair.
func (t *teller) shares(c analysis.Comparison) string {
	if !kind.Of(t.r.Kind).Answers {
		return ""
	}
	share := func(cell analysis.Cell) string {
		for _, g := range t.r.Groups {
			if slices.Equal(g.Cell, cell) && g.Mean != nil {
				return fmt.Sprintf("%d of %d", int(math.Round(*g.Mean*float64(g.N))), g.N)
			}
		}
		return ""
	}
	if share(c.CellA) == "" || share(c.CellB) == "" {
		return ""
	}
	return share(c.CellA) + " against " + share(c.CellB) + ", "
}

// span words a value with its interval, all three alike: a difference with its
// sign, a ratio as a change in per cent or, where one of the three is a doubling
// or a halving, as a multiple.
func (t *teller) span(value float64, ci [2]float64) string {
	word := func(v float64) string { return phrase.Unit(signed(v), t.r.Unit) }
	switch contrast := t.contrast(); {
	case contrast == kind.OddsRatio, contrast == kind.Ratio && (max(value, ci[1]) >= 2 || min(value, ci[0]) <= 0.5):
		word = func(v float64) string { return "× " + phrase.Number(v) }
	case contrast == kind.Ratio:
		word = func(v float64) string { return signed(100*(v-1)) + " %" }
	}
	text := fmt.Sprintf("%s (95 %% interval %s to %s)", word(value), word(ci[0]), word(ci[1]))
	if t.contrast() == kind.OddsRatio {
		return "odds " + text
	}
	return text
}

func (t *teller) contrast() kind.Contrast { return kind.Compared(t.r.Kind, t.r.Scale) }

// signed writes a number with its sign.
func signed(v float64) string {
	if v > 0 {
		return "+" + phrase.Number(v)
	}
	return phrase.Number(v)
}

func (t *teller) matters() string {
	m := t.out.Matters
	if m.Share {
		return phrase.Percent(m.Value)
	}
	return phrase.Unit(phrase.Number(m.Value), t.r.Unit)
}

// wouldShow says how small a difference the trial could have shown, and what
// would show one that matters.
func (t *teller) wouldShow(c analysis.Comparison) string {
	if c.SmallestDetectable == nil {
		return ""
	}
	says := fmt.Sprintf("; this trial would have shown %s or more in four cases of five", t.size(*c.SmallestDetectable))
	return says + t.wouldNeed(c)
}

// wouldNeed says how many more replicates would show what matters, unless the
// sentence on the next trial does, or few degrees of freedom forbid so plain a rule.
func (t *teller) wouldNeed(c analysis.Comparison) string {
	if slices.ContainsFunc(t.next, func(n analysis.Need) bool { return n.Treatment == c.Treatment }) ||
		slices.ContainsFunc(t.r.Planning, func(f analysis.Planning) bool { return f.Treatment == c.Treatment && 0 < f.DF && f.DF < analysis.FewDF }) {
		return ""
	}
	d, goal := *c.SmallestDetectable, t.goal(c)
	if goal <= 0 {
		return fmt.Sprintf("; half of that needs about four times as many %ss", c.Unit)
	}
	switch times := (d / goal) * (d / goal); {
	case times <= 1:
		return ""
	case times > analysis.MostTimes:
		return fmt.Sprintf("; %s is out of reach: it needs more than %d times as many %ss", t.matters(), analysis.MostTimes, c.Unit)
	default:
		return fmt.Sprintf("; %s needs about %s times as many %ss", t.matters(), strconv.FormatFloat(math.Ceil(times*10)/10, 'f', 1, 64), c.Unit)
	}
}

// size words a smallest detectable difference.
func (t *teller) size(d float64) string { return t.sizes(d, d) }

// sizes words the range of smallest detectable differences.
func (t *teller) sizes(least, most float64) string {
	what, word := "a difference of ", func(d float64) string { return phrase.Unit(phrase.Number(d), t.r.Unit) }
	switch contrast := t.contrast(); {
	case contrast == kind.OddsRatio:
		what, word = "an odds ratio of ", func(d float64) string { return phrase.Number(math.Exp(d)) }
	case contrast == kind.Ratio && most >= math.Ln2:
		what, word = "a ratio of ", func(d float64) string { return phrase.Number(math.Exp(d)) }
	case contrast == kind.Ratio:
		word = func(d float64) string { return phrase.Percent(math.Exp(d) - 1) }
	}
	if word(least) == word(most) {
		return what + word(most)
	}
	return what + word(least) + " (sharpest pair) to " + word(most) + " (bluntest)"
}

// goal is the smallest difference that matters, on the scale of the standard
// error; 0 where none is given or it has no meaning here.
func (t *teller) goal(c analysis.Comparison) float64 {
	m := t.out.Matters
	if m == nil {
		return 0
	}
	mean := math.NaN()
	for _, g := range t.r.Groups {
		if slices.Equal(g.Cell, c.CellB) && len(g.Cell) == 1 && g.AdjustedMean != nil {
			mean = *g.AdjustedMean
		}
	}
	switch contrast := t.contrast(); {
	case contrast != kind.Difference && m.Share:
		return math.Log1p(m.Value)
	case contrast == kind.Ratio && mean > 0:
		return math.Log1p(m.Value / mean)
	case contrast != kind.Difference:
		return 0
	case !m.Share:
		return m.Value
	case !math.IsNaN(mean):
		return m.Value * math.Abs(mean)
	}
	return 0
}

// manyOpen sums up pairs that could not be told apart.
func (t *teller) manyOpen(e analysis.Effect, open []analysis.Comparison, of int) {
	widest := open[0]
	least, most := math.Inf(1), 0.0
	for _, c := range open {
		if c.SmallestDetectable == nil {
			continue
		}
		least = min(least, *c.SmallestDetectable)
		if *c.SmallestDetectable > most {
			most, widest = *c.SmallestDetectable, c
		}
	}
	if most == 0 {
		t.say("%s: no difference in %s was shown %s.", e.Effect, t.r.Name, among(len(open), of))
		return
	}
	t.say("%s: no difference in %s was shown %s; this trial would have shown %s or more in four cases of five%s; the widest interval is that of %s and %s, %s.",
		e.Effect, t.r.Name, among(len(open), of), t.sizes(least, most), t.wouldNeed(widest), phrase.Cell(t.in, widest.CellA), phrase.Cell(t.in, widest.CellB), t.about(widest))
}

// among words how many of the pairs are meant.
func among(open, of int) string {
	if open == of {
		return fmt.Sprintf("for any of its %d pairs", of)
	}
	return fmt.Sprintf("for %d of its %d pairs", open, of)
}

// covariates words the slopes of covariates.
func (t *teller) covariates() {
	for _, cov := range t.in.Covariates {
		for _, k := range t.r.Coefficients {
			if k.Of != cov.Name || k.Level != "" || k.CI95 == nil || k.Estimate == nil {
				continue
			}
			t.slope("With every unit of "+cov.Name, *k.Estimate, *k.CI95, k.P, "")
		}
	}
}

// slope words a slope by its interval.
func (t *teller) slope(per string, value float64, ci [2]float64, p *float64, more string) {
	text := t.risen(value, ci) + more + ifP(p)
	switch {
	case ci[0] > 0:
		t.say("%s, %s rises: %s.", per, t.r.Name, text)
	case ci[1] < 0:
		t.say("%s, %s falls: %s.", per, t.r.Name, text)
	default:
		t.say("%s, no change in %s was shown: %s.", per, t.r.Name, text)
	}
}

func ifP(p *float64) string {
	if p == nil {
		return ""
	}
	return "; p " + phrase.P(*p)
}

// risen words a slope with its interval: on a log scale as a ratio.
func (t *teller) risen(value float64, ci [2]float64) string {
	if t.contrast() != kind.Difference {
		return t.span(math.Exp(value), [2]float64{math.Exp(ci[0]), math.Exp(ci[1])})
	}
	return t.span(value, ci)
}
