package sentences

import (
	"fmt"
	"math"
	"slices"

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

	all   *analysis.Result
	next  []analysis.Need // what a next trial of this outcome needs
	found []analysis.Finding
}

// say adds a finding.
func (t *teller) say(kind analysis.FindingKind, topic analysis.Topic, format string, args ...any) {
	t.found = append(t.found, analysis.Finding{Kind: kind, Topic: topic, About: t.named(topic), Says: fmt.Sprintf(format, args...)})
}

// whole is the topic of the result as a whole.
var whole = analysis.Topic{}

// named names a topic.
func (t *teller) named(topic analysis.Topic) string {
	switch topic.Subject {
	case analysis.OfTerm:
		return t.term(topic.Term)
	case analysis.OfEdge:
		return "edge"
	case analysis.OfPlace:
		return "place"
	case analysis.OfLosses:
		return "losses"
	case analysis.OfElectricity:
		return "electricity"
	}
	return ""
}

// term names a term.
func (t *teller) term(term analysis.Term) string {
	switch term.Kind {
	case model.KindTreatment:
		return t.in.Treatments[term.A].Name
	case model.KindInteraction:
		return model.Times(t.in.Treatments[term.A].Name, t.in.Treatments[term.B].Name)
	case model.KindCovariate:
		if term.A == len(t.in.Covariates) {
			return t.out.Start.Name
		}
		return t.in.Covariates[term.A].Name
	case model.KindLight:
		return "light"
	}
	return ""
}

// Of words the findings of one outcome, sorted by kind.
func Of(in *analysis.Input, r *analysis.OutcomeResult, all *analysis.Result) []analysis.Finding {
	i := slices.IndexFunc(in.Outcomes, func(o analysis.Outcome) bool { return o.Name == r.Name })
	t := &teller{in: in, out: &in.Outcomes[i], r: r, all: all, found: []analysis.Finding{}, next: all.NextTrial.NeedsOf(r)}
	t.tell()
	kinds := analysis.FindingKinds()
	slices.SortStableFunc(t.found, func(a, b analysis.Finding) int {
		return slices.Index(kinds, a.Kind) - slices.Index(kinds, b.Kind)
	})
	return t.found
}

func (t *teller) tell() {
	if t.r.Model == "" {
		for _, c := range t.r.Checks {
			switch c.Check {
			case analysis.NoModel:
				t.say(analysis.Open, whole, "No result: %s.", c.Says)
			case analysis.Tangled:
				t.say(analysis.Caution, whole, "%s.", phrase.Capital(c.Says))
			}
		}
		return
	}
	t.weakened()
	t.described()
	if !t.constant() {
		t.spoilt()
		t.treatments()
		t.covariates()
		t.light()
		t.place()
		t.electricity()
	}
	t.suspects()
	t.losses()
	for _, n := range t.next {
		t.say(analysis.Next, t.treatmentNamed(n.Treatment), "Next trial: %s", n.Says)
	}
}

// treatmentNamed is the treatment of this name as a topic.
func (t *teller) treatmentNamed(name string) analysis.Topic {
	i := slices.IndexFunc(t.in.Treatments, func(x analysis.Treatment) bool { return x.Name == name })
	if i < 0 {
		return whole
	}
	return analysis.About(analysis.TreatmentTerm(i))
}

// Heading stands above findings of a kind.
func Heading(kind analysis.FindingKind) string {
	switch kind {
	case analysis.Caution:
		return "Before you read on"
	case analysis.Claim:
		return "Shown"
	case analysis.Lead:
		return "Leads, for a next trial to confirm"
	case analysis.Open:
		return "Not shown"
	}
	return "What to do next"
}

// Standing says what kind of answer an outcome's results are; "" for those of a
// flat table, where nothing is primary.
func Standing(in *analysis.Input, r *analysis.OutcomeResult) string {
	switch {
	case in.Table:
		return ""
	case r.Primary && r.Planned && in.Early:
		return "The primary outcome: once the trial has ended, it gives the planned answer."
	case r.Primary && r.Planned:
		return "The planned answer of this trial."
	case r.Primary:
		return "The primary outcome, without a sealed plan."
	case r.Planned:
		return "A planned outcome beside the primary one."
	}
	return "Exploratory: what stands out here is a lead for the next trial."
}

// weakened says what weakens all that follows.
func (t *teller) weakened() {
	if t.in.Early {
		t.say(analysis.Caution, whole, "An early look, before the trial ends: it is not the planned answer, and looking often finds something by chance.")
	}
	if !t.r.Primary {
		return
	}
	if !t.r.Planned {
		t.say(analysis.Caution, whole, "No plan was sealed before the plants were dealt: nothing shows that this outcome was chosen beforehand.")
	}
	for _, d := range t.all.Departures {
		t.say(analysis.Caution, whole, "Departure from the plan: %s", d)
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
	t.say(analysis.Open, whole, "All %d plants have the same %s: they are described, and nothing is concluded about it; plants of another level on the same rack would answer it.%s", t.r.N, phrase.List(names), text)
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
		t.say(analysis.Open, whole, "None of the %d plants had %s: nothing can be compared. At most %s of plants like these would (95 %% limit).", t.r.N, t.r.Name, phrase.Percent(1-math.Pow(0.05, 1/float64(t.r.N))))
		return true
	case float64(t.r.N):
		t.say(analysis.Open, whole, "All of the %d plants had %s: nothing can be compared.", t.r.N, t.r.Name)
		return true
	}
	return false
}

// treatments words every treatment, by cells where two depend on one another.
func (t *teller) treatments() {
	dependent := map[int]bool{}
	for _, e := range t.r.Dependent() {
		t.say(analysis.Caution, analysis.About(e.Term), "%s: what one does depends on the other (p %s), so averages over either mislead and the cells are compared.", e.Effect, phrase.P(*e.P))
		dependent[e.Term.A], dependent[e.Term.B] = true, true
		t.pairs(e, t.r.ComparisonsOf(e.Term))
	}
	for i := range t.in.Treatments {
		if e := analysis.Find(t.r.Effects, analysis.TreatmentTerm(i)); e != nil && !dependent[i] {
			t.treatment(*e)
		}
	}
}

func (t *teller) treatment(e analysis.Effect) {
	topic := analysis.About(e.Term)
	if e.P == nil {
		for _, c := range t.r.Checks {
			if (c.Check == analysis.NotTested || c.Check == analysis.NoModel) && c.Of == e.Effect {
				t.say(analysis.Open, topic, "%s: %s.", e.Effect, c.Says)
				t.untested(e)
				if pairs := t.r.ComparisonsOf(e.Term); slices.ContainsFunc(pairs, func(c *analysis.Comparison) bool { return c.P != nil }) {
					t.pairs(e, pairs) // which decide
				}
				return
			}
		}
		t.say(analysis.Open, topic, "%s was not tested.", e.Effect)
		return
	}
	pairs := t.r.ComparisonsOf(e.Term)
	t.eventless(e, pairs)
	t.besideLight(e, pairs)
	if e.PRedealt != nil && (*e.PRedealt < 0.05) != (*e.P < 0.05) {
		t.say(analysis.Caution, topic, "%s: dealing the labels anew gives p %s, which lies on the other side of 0.05: read this one with care.", e.Effect, phrase.P(*e.PRedealt))
	}
	if len(pairs) != 1 && !t.together(e, pairs) {
		return
	}
	t.pairs(e, pairs)
}

// together words a treatment of more levels than two as a whole, by its pairs; where
// the test of all levels says otherwise, why. It tells whether pairs are to follow.
func (t *teller) together(e analysis.Effect, pairs []*analysis.Comparison) bool {
	topic, how := analysis.About(e.Term), t.replicates(e.Unit)+t.adjusted(e.Term)
	shown := e.Standing.Told == analysis.Claim || e.Standing.Told == analysis.Lead
	alone := slices.ContainsFunc(pairs, func(c *analysis.Comparison) bool { return t.reading(c).Differs() })
	switch differ := *e.P < 0.05; {
	case shown && (differ || len(pairs) == 0):
		t.say(e.Standing.Told, topic, "%s: its levels differ in %s (p %s, %s).", e.Effect, t.r.Name, phrase.P(*e.P), how)
	case shown:
		t.say(e.Standing.Told, topic, "%s: its levels differ in %s by single pairs, which decide (%s); taken together p is %s, since most of them are alike.", e.Effect, t.r.Name, how, phrase.P(*e.P))
	case differ && t.beside():
		t.say(analysis.Open, topic, "%s: the levels look different in %s (p %s), but among %s looked at it may well be chance%s.", e.Effect, t.r.Name, phrase.P(*e.P), things(t.all.Questions.Others), discovery(e.Standing))
		return false
	case differ && !alone && len(pairs) > 0:
		t.say(analysis.Open, topic, "%s: taken together its levels differ more in %s than chance makes likely (p %s, %s), but pairs decide, and none stands out: which of them differ can't be said.", e.Effect, t.r.Name, phrase.P(*e.P), how)
	case differ:
		t.say(analysis.Open, topic, "%s: its levels look different in %s (p %s, %s); %s.", e.Effect, t.r.Name, phrase.P(*e.P), how, t.asked())
	default:
		t.say(analysis.Open, topic, "%s: no difference in %s was shown (p %s, %s).", e.Effect, t.r.Name, phrase.P(*e.P), how)
	}
	return true
}

// beside tells whether the outcome stands beside those that were planned.
func (t *teller) beside() bool { return !t.r.Primary && !t.in.Table }

// things counts what was looked at beside what was planned.
func things(n int) string {
	if n == 1 {
		return "all"
	}
	return "the " + phrase.Few(n) + " things"
}

// discovery words the rate of false discoveries at which something would be one.
func discovery(s analysis.Standing) string {
	if s.Adjusted == nil {
		return ""
	}
	return fmt.Sprintf(" (false discovery rate %s)", phrase.P(*s.Adjusted))
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
	if own != nil && own.Test == string(model.Dealt) && own.Unit != string(model.PerPlant) {
		return "" // shares of whole units are compared as they are
	}
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

// covariates words the slopes of covariates.
func (t *teller) covariates() {
	for i, cov := range t.in.Covariates {
		term := analysis.Term{Kind: model.KindCovariate, A: i, B: analysis.None}
		step, unit := t.step(cov.Values), "unit"
		if step < 1 {
			unit = phrase.Number(step)
		}
		per := fmt.Sprintf("every %s of %s", unit, cov.Name)
		if t.levelSlopes(term, per, step) {
			continue
		}
		for _, k := range t.r.Coefficients {
			if k.Term == term && k.CI95 != nil && k.Estimate != nil {
				t.slope(analysis.About(term), k.Standing, "among all covariates it may well be chance", "With "+per, *k.Estimate*step, scaled(*k.CI95, step), k.P, "")
			}
		}
	}
}

// step is what a slope is told per: one unit or, where plants span less, the power of
// ten that they span, so that no more is told than was seen.
func (t *teller) step(values []float64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, p := range t.r.Points {
		low, high = min(low, values[p.Row]), max(high, values[p.Row])
	}
	if span := high - low; span > 0 && span < 1 {
		return math.Pow(10, math.Floor(math.Log10(span)))
	}
	return 1
}

func scaled(ci [2]float64, by float64) [2]float64 { return [2]float64{ci[0] * by, ci[1] * by} }

// levelSlopes words the slopes at each level of a treatment where they differ, and
// tells whether they do.
func (t *teller) levelSlopes(of analysis.Term, unit string, step float64) bool {
	s := t.r.SlopesOf(of)
	if s == nil {
		return false
	}
	treatment := t.in.Treatments[s.Treatment]
	name := t.term(of)
	t.say(analysis.Caution, analysis.About(of), "%s × %s: what %s does differs between the levels of %s (p %s), so each level's slope is told, and comparisons of %s hold at the mean of %s only.",
		name, treatment.Name, name, treatment.Name, phrase.P(s.P), treatment.Name, name)
	for _, l := range s.Slopes {
		t.slope(analysis.About(of), l.Standing, t.asked(), fmt.Sprintf("On %s %s, with %s", treatment.Name, treatment.Levels[l.Level], unit), l.Slope*step, scaled(l.CI95, step), nil, "")
	}
	return true
}

// slope words a slope as what its standing allows.
func (t *teller) slope(about analysis.Topic, standing analysis.Standing, chance, per string, value float64, ci [2]float64, p *float64, more string) {
	t.sloped(about, standing, chance, per, value, ci, p, t.risen(value, ci)+more)
}

// sloped words a slope of which the number is worded already, by its p, else by its
// interval: where answers are dealt anew these may disagree.
func (t *teller) sloped(about analysis.Topic, standing analysis.Standing, chance, per string, value float64, ci [2]float64, p *float64, text string) {
	text += ifP(p)
	shown := ci[0] > 0 || ci[1] < 0
	if p != nil {
		shown = *p < 0.05
	}
	told := standing.Told
	if told != analysis.Claim && told != analysis.Lead {
		told = analysis.Open
	}
	if shown && told == analysis.Open {
		text += "; " + chance
	}
	switch {
	case shown && value > 0:
		t.say(told, about, "%s, %s rises: %s.", per, t.r.Name, text)
	case shown:
		t.say(told, about, "%s, %s falls: %s.", per, t.r.Name, text)
	default:
		t.say(analysis.Open, about, "%s, no change in %s was shown: %s.", per, t.r.Name, text)
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
