package answer

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// Line is one of the few lines on an outcome.
type Line struct {
	Kind  analysis.FindingKind
	Topic analysis.Topic
	Says  string
}

// Brief is the few lines on one result, the most useful first: what may be claimed,
// what weakens it, leads, what is open, what to do.
func Brief(in *analysis.Input, all *analysis.Result, r *analysis.OutcomeResult) []Line {
	t := newTeller(in, all)
	b := &brief{teller: t, p: part{r, outcomeOf(in, r), ranking.All(in, r)}}
	if r.Model == "" {
		for _, c := range r.Checks {
			if c.Check == analysis.NoModel {
				b.say(analysis.Open, analysis.Topic{}, "no result: "+c.Says)
			}
		}
		return b.lines
	}
	b.shown()
	b.light(true)
	b.weakened()
	b.besides()
	if b.described() {
		return b.lines
	}
	b.open()
	b.decide()
	return b.lines
}

// brief gathers the lines on one result.
type brief struct {
	*teller
	p     part
	lines []Line
}

func (b *brief) say(kind analysis.FindingKind, topic analysis.Topic, says string) {
	b.lines = append(b.lines, Line{kind, topic, ended(says)})
}

// asked counts what was asked beside something that is not certain.
func (b *brief) asked() string {
	if b.first() {
		return b.among()
	}
	return fmt.Sprintf(" (of %s looked at)", phrase.Few(b.all.Questions.Others))
}

// first tells whether the result is one of those that the trial was made for.
func (b *brief) first() bool { return b.p.r.Primary || b.in.Table }

// standsOut tells whether a standing is a claim or a lead.
func standsOut(s analysis.Standing) bool {
	return s.Told == analysis.Claim || s.Told == analysis.Lead
}

// shown tells pairs that stand out, a line a treatment for what may be claimed and one
// for leads: pairs with the highest level first.
func (b *brief) shown() {
	for i := range b.p.rankings {
		r := &b.p.rankings[i]
		topic := analysis.About(r.Term)
		var first, rest []*analysis.Comparison
		for _, l := range r.In(ranking.Behind) {
			first = append(first, l.Pair)
		}
		for _, c := range r.Pairs {
			high := c.CellA.Apart(r.Highest().Cell) == 0 || c.CellB.Apart(r.Highest().Cell) == 0
			if standsOut(c.Standing) && !high {
				rest = append(rest, c)
			}
		}
		pairs := append(first, rest...)
		for _, told := range []analysis.FindingKind{analysis.Claim, analysis.Lead} {
			if says := b.behind(pairs, told); says != "" {
				b.say(told, topic, says)
			}
		}
		if e := analysis.Find(b.p.r.Effects, r.Term); e != nil && len(pairs) == 0 && standsOut(e.Standing) {
			b.say(e.Standing.Told, topic, fmt.Sprintf("the levels of %s differ, taken together", b.treatment(r.Term)))
		}
	}
}

// behind words pairs told as the kind, the first few of them.
func (b *brief) behind(pairs []*analysis.Comparison, told analysis.FindingKind) string {
	const most = 3
	var list []string
	var before analysis.Cell
	more := 0
	for _, c := range pairs {
		if c.Standing.Told != told {
			continue
		}
		if len(list) == most {
			more++
			continue
		}
		low, high, against := lower(b.p.r, c)
		who := b.levelName(low) + " is "
		if before != nil && before.Apart(low) == 0 {
			who = ""
		}
		before = low
		list = append(list, fmt.Sprintf("%sbehind %s: %s", who, b.levelName(high), against.short()))
	}
	if more > 0 {
		list = append(list, "and "+phrase.Few(more)+" more")
	}
	return strings.Join(list, "; ")
}

// light tells light within bins, where it stands out or where it does not.
func (b *brief) light(shown bool) {
	l := b.p.r.Light
	if l == nil || b.in.Light == nil {
		return
	}
	topic := analysis.About(analysis.LightTerm())
	if s := b.p.r.SlopesOf(analysis.LightTerm()); s != nil {
		b.slopesApart(s, shown)
		return
	}
	if l.Slope.Slope == nil || l.CI95 == nil {
		return
	}
	change := change(b.p.r, *l.Slope.Slope, *l.CI95)
	switch told := standsOut(l.Standing); {
	case told != shown:
	case told:
		says := fmt.Sprintf("light: %s with %s, measured %s", change, b.per(), shortReach(b.p.r))
		if between := b.betweenBins(); between != "" {
			says += "; between bins " + between
		}
		b.say(l.Standing.Told, topic, says)
	case l.P != nil && *l.P < 0.05:
		b.say(analysis.Open, topic, fmt.Sprintf("light: %s with %s, not certain%s", change, b.per(), b.asked()))
	case b.first():
		b.say(analysis.Open, topic, fmt.Sprintf("light: %s with %s", change, b.per()))
	}
}

// betweenBins words what brighter bins have, where that is a lead.
func (b *brief) betweenBins() string {
	l := b.p.r.Light
	if l == nil || l.BetweenBin == nil || l.BetweenBin.Standing.Told != analysis.Lead || l.BetweenBin.CI95 == nil || kind.Of(b.p.r.Kind).Answers {
		return ""
	}
	return change(b.p.r, *l.BetweenBin.Slope, *l.BetweenBin.CI95)
}

// slopesApart tells light by the levels between which its slope differs.
func (b *brief) slopesApart(s *analysis.LevelSlopes, shown bool) {
	treatment := b.in.Treatments[s.Treatment]
	for _, l := range s.Slopes {
		if standsOut(l.Standing) != shown {
			continue
		}
		told := l.Standing.Told
		if !shown {
			told = analysis.Open
		}
		b.say(told, analysis.About(analysis.LightTerm()), fmt.Sprintf("light, on %s %s: %s with %s", treatment.Name, treatment.Levels[l.Level], change(b.p.r, l.Slope, l.CI95), b.per()))
	}
}

// change writes a slope as a change, with its sign.
func change(r *analysis.OutcomeResult, slope float64, ci [2]float64) string {
	how := kind.Compared(r.Kind, r.Scale)
	if how != kind.Difference {
		slope, ci = math.Exp(slope), [2]float64{math.Exp(ci[0]), math.Exp(ci[1])}
	}
	limits := analysis.Limits(ci)
	return contrast{how, r.Unit, &slope, &limits}.short()
}

// weakened says in one line what weakens the result: what is so of the whole of it, which
// plants it is of, which of them lie far off.
func (b *brief) weakened() {
	above := b.cautions()
	above = above[:min(len(above), mostMind)]
	var list []string
	for _, c := range b.spoils(b.p) {
		if !b.ofAll(c) || !slices.ContainsFunc(above, func(s said) bool { return s.caution == c }) {
			list = append(list, b.cautionWords(c))
		}
	}
	topic := analysis.Topic{}
	if says := b.survivors(); says != "" {
		if len(list) == 0 {
			topic.Subject = analysis.OfLosses
		}
		list = append(list, says)
	}
	if list = append(list, b.suspected()...); len(list) > 0 {
		b.say(analysis.Caution, topic, strings.Join(list, "; "))
	}
}

// ofAll tells whether something weakens every part alike.
func (t *teller) ofAll(c caution) bool {
	return !slices.ContainsFunc(t.parts, func(p part) bool { return !slices.Contains(t.spoils(p), c) })
}

// survivors says of a primary result how many plants it is not of.
func (b *brief) survivors() string {
	lost, accident := 0, 0
	first := ""
	for _, l := range b.all.Lost {
		if !maps.Equal(l.Of, b.p.r.Of) || first != "" && l.Treatment != first {
			continue
		}
		first = l.Treatment
		lost, accident = lost+l.Lost, accident+l.Accident
	}
	if !b.p.r.Primary || lost+accident == 0 {
		return ""
	}
	says := fmt.Sprintf("of the survivors: %s lost", phrase.Were(lost))
	if accident > 0 {
		says += fmt.Sprintf(", %d by accident besides", accident)
	}
	return says
}

// suspected names plants that lie far off, with what is other without them.
func (b *brief) suspected() (list []string) {
	const most = 2
	for i := range b.p.r.Suspects {
		s := &b.p.r.Suspects[i]
		if i == most {
			more := "1 more plant lies far off"
			if rest := len(b.p.r.Suspects) - most; rest > 1 {
				more = fmt.Sprintf("%d more plants lie far off", rest)
			}
			return append(list, more)
		}
		says := fmt.Sprintf("%s lies far off (%s)", phrase.Plant(s.Plant, b.in.Table), phrase.Unit(phrase.Number(s.Value), b.p.r.Unit))
		switch other := b.without(b.p, s); {
		case other != "":
			says += ", and without it " + other
		case s.Without != nil && b.first():
			says += ", and without it the answer is the same"
		}
		list = append(list, says)
	}
	return list
}

// besides tells leads that no treatment is.
func (b *brief) besides() {
	r := b.p.r
	l := r.Light
	topic := analysis.About(analysis.LightTerm())
	if best := bestLight(r); best != nil {
		b.say(analysis.Lead, topic, fmt.Sprintf("light: best near %s (%s to %s)", b.lightOf(*best.Estimate), phrase.Number(best.CI95[0]), phrase.Number(best.CI95[1])))
	} else if l != nil && l.Bend != nil && l.Bend.Standing.Told == analysis.Lead {
		b.say(analysis.Lead, topic, "light: what it does bends, and where it is best can't be said")
	}
	if between := b.betweenBins(); between != "" && !standsOut(l.Standing) {
		b.say(analysis.Lead, topic, fmt.Sprintf("brighter bins: %s with %s", between, b.per()))
	}
	p := r.Position
	if p == nil {
		return
	}
	if p.Standing.Told == analysis.Lead {
		b.say(analysis.Lead, analysis.Topic{Subject: analysis.OfPlace}, "neighbours are alike: something about the place is not in the trial's figures")
	}
	if e := p.Edge; e != nil && e.Standing.Told == analysis.Lead && e.Apart() && e.Estimate != nil && e.CI95 != nil {
		b.say(analysis.Lead, analysis.Topic{Subject: analysis.OfEdge}, "edge plants against inner ones: "+change(r, *e.Estimate, *e.CI95))
	}
}

// open tells what treatments and light leave open: of a primary result a line each, of
// others all that is not told apart in one.
func (b *brief) open() {
	var rest []string
	for i := range b.p.rankings {
		r := &b.p.rankings[i]
		if r.Term.B != analysis.None || r.Told(analysis.Claim) || r.Told(analysis.Lead) {
			continue
		}
		if last := &r.Levels[len(r.Levels)-1]; !b.first() && last.Place != ranking.Uncertain {
			rest = append(rest, b.leftOpen(r, last))
			continue
		}
		b.say(analysis.Open, analysis.About(r.Term), b.openTreatment(r))
	}
	if l := b.p.r.Light; !b.first() && l != nil && l.CI95 != nil && b.p.r.SlopesOf(analysis.LightTerm()) == nil && !standsOut(l.Standing) && (l.P == nil || *l.P >= 0.05) {
		rest = append(rest, fmt.Sprintf("light (%s with %s)", changeSpan(b.p.r, *l.CI95), b.per()))
	}
	if len(rest) > 0 {
		b.say(analysis.Open, analysis.Topic{}, "not told yet: "+phrase.List(rest))
	}
	b.light(false)
}

// leftOpen names a treatment with how far its lowest level may lie from the highest.
func (b *brief) leftOpen(r *ranking.Ranking, last *ranking.Level) string {
	against := measured(b.p.r, last).span()
	switch units := b.units(b.p.r, r.Term.A, r.Unit); {
	case last.Place == ranking.Alike:
		against = "alike to within what matters"
	case last.Place == ranking.Unknown && units != "":
		against = units
	case against == "":
		against = "too few"
	}
	return fmt.Sprintf("%s (%s)", b.treatment(r.Term), against)
}

// openTreatment words what one treatment leaves open, with what would settle it.
func (b *brief) openTreatment(r *ranking.Ranking) string {
	name := b.treatment(r.Term) + ": "
	last := &r.Levels[len(r.Levels)-1]
	low, high, against := b.levelName(last.Cell), b.levelName(r.Highest().Cell), measured(b.p.r, last)
	settled := ""
	if need := b.settling(r.Term.A); need != "" {
		settled = "; " + need
	}
	with := ""
	if units := b.units(b.p.r, r.Term.A, r.Unit); units != "" {
		with = ", with " + units
	}
	switch {
	case last.Place == ranking.Uncertain:
		return fmt.Sprintf("%s against %s: %s, not certain%s", low, high, against.short(), b.asked()) + settled
	case last.Place == ranking.Alike:
		return name + "the levels are alike to within what matters"
	case last.Place == ranking.Unknown:
		list := few(r.In(ranking.Highest, ranking.NotApart, ranking.Alike, ranking.Unknown))
		return fmt.Sprintf("%s%s, too few to tell%s", name, b.meansOf(b.p, list), with) + settled
	case against.ci.Closed() == nil:
		return fmt.Sprintf("%s (%s) against %s (%s): not told apart", low, means(b.p.r, []*ranking.Level{last}), high, means(b.p.r, []*ranking.Level{r.Highest()})) + settled
	}
	return fmt.Sprintf("%s against %s: %s%s", low, high, against.short(), with) + settled
}

// described tells, where there is nothing to compare, the mean and what light may do.
func (b *brief) described() bool {
	r := b.p.r
	if len(b.p.rankings) > 0 || len(b.in.Treatments) == 0 || len(r.Groups) == 0 || r.Groups[0].Mean == nil || r.Groups[0].N != r.N {
		return false
	}
	says := means(r, []*ranking.Level{{Group: &r.Groups[0]}}) + " in the mean, and nothing beside them"
	if l := r.Light; l != nil && b.in.Light != nil && l.CI95 != nil && r.SlopesOf(analysis.LightTerm()) == nil && !standsOut(l.Standing) {
		says += fmt.Sprintf("; light: %s with %s", changeSpan(r, *l.CI95), b.per())
		if l.P != nil && *l.P < 0.05 {
			says += ", not certain" + b.asked()
		}
	}
	b.say(analysis.Open, analysis.Topic{}, says)
	return true
}

// settling says what would settle a treatment of the result; "" where nothing is known.
func (b *brief) settling(treatment int) string {
	for _, n := range b.all.NextTrial.NeedsOf(b.p.r) {
		if n.Treatment == b.in.Treatments[treatment].Name {
			return fmt.Sprintf("about %s would settle %s", replicates(n), settles(n))
		}
	}
	return ""
}

// Span is the interval of a level's difference from the highest, under a heading that
// says what it is of; "" without one.
func Span(r *analysis.OutcomeResult, l *ranking.Level) string {
	against := measured(r, l)
	if closed := against.ci.Closed(); closed != nil && against.kind == kind.OddsRatio {
		return fmt.Sprintf("%s to %s", times(closed[0]), times(closed[1]))
	}
	return against.span()
}

// Ordered are the results in the order in which they are told: planned ones first, and
// last those in which nothing can be compared.
func Ordered(all *analysis.Result) []*analysis.OutcomeResult {
	var list []*analysis.OutcomeResult
	for i := range all.Outcomes {
		list = append(list, &all.Outcomes[i])
	}
	rank := func(r *analysis.OutcomeResult) int {
		switch {
		case r.Primary && len(ranking.All(all.Asked, r)) > 0:
			return 0
		case len(ranking.All(all.Asked, r)) > 0:
			return 1
		}
		return 2
	}
	slices.SortStableFunc(list, func(a, b *analysis.OutcomeResult) int { return rank(a) - rank(b) })
	return list
}
