package answer

import (
	"fmt"
	"maps"
	"math"
	"slices"

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
	for _, says := range t.spoils(b.p) {
		b.say(analysis.Caution, analysis.Topic{}, says)
	}
	b.plants()
	b.besides()
	b.open()
	b.light(false)
	b.described()
	b.decide()
	b.need()
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
	if b.p.r.Primary || b.in.Table {
		return b.among()
	}
	return fmt.Sprintf(" (one of %s things looked at)", phrase.Few(b.all.Questions.Others))
}

// standsOut tells whether a standing is a claim or a lead.
func standsOut(s analysis.Standing) bool {
	return s.Told == analysis.Claim || s.Told == analysis.Lead
}

// shown tells pairs that stand out: those with the highest level first.
func (b *brief) shown() {
	const most = 3
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
		for k, c := range pairs {
			if k == most {
				b.say(c.Standing.Told, topic, fmt.Sprintf("%s more pairs of %s; they stand under --full", phrase.Few(len(pairs)-most), b.treatment(r.Term)))
				break
			}
			low, high, against := lower(b.p.r, c)
			b.say(c.Standing.Told, topic, fmt.Sprintf("%s is behind %s: %s", b.levelName(low), b.levelName(high), against.short()))
		}
		if e := analysis.Find(b.p.r.Effects, r.Term); e != nil && len(pairs) == 0 && standsOut(e.Standing) {
			b.say(e.Standing.Told, topic, fmt.Sprintf("the levels of %s differ, taken together", b.treatment(r.Term)))
		}
	}
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
		says := fmt.Sprintf("light: %s with %s, %s", change, b.per(), reach(b.p.r))
		if l.Standing.Told == analysis.Claim {
			says += "; it was not dealt at random, so heat or air may go with it"
		}
		b.say(l.Standing.Told, topic, says)
	case l.P != nil && *l.P < 0.05:
		b.say(analysis.Open, topic, fmt.Sprintf("light: %s with %s, not certain%s", change, b.per(), b.asked()))
	default:
		b.say(analysis.Open, topic, fmt.Sprintf("light: %s with %s", change, b.per()))
	}
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

// plants says of which plants a primary result is, and which lie far off.
func (b *brief) plants() {
	lost, accident := 0, 0
	first := ""
	if !b.p.r.Primary {
		b.suspected()
		return
	}
	for _, l := range b.all.Lost {
		if !maps.Equal(l.Of, b.p.r.Of) || first != "" && l.Treatment != first {
			continue
		}
		first = l.Treatment
		lost, accident = lost+l.Lost, accident+l.Accident
	}
	if lost+accident > 0 {
		says := fmt.Sprintf("of the survivors: %s lost", phrase.Were(lost))
		if accident > 0 {
			says += fmt.Sprintf(", %d by accident besides", accident)
		}
		b.say(analysis.Caution, analysis.Topic{Subject: analysis.OfLosses}, says)
	}
	b.suspected()
}

// suspected names plants that lie far off.
func (b *brief) suspected() {
	const most = 2
	for i, s := range b.p.r.Suspects {
		if i == most {
			b.say(analysis.Caution, analysis.Topic{}, fmt.Sprintf("%d more plants lie far off", len(b.p.r.Suspects)-most))
			break
		}
		b.say(analysis.Caution, analysis.Topic{}, fmt.Sprintf("%s lies far off (%s): look at it again", phrase.Plant(s.Plant, b.in.Table), phrase.Unit(phrase.Number(s.Value), b.p.r.Unit)))
	}
}

// besides tells leads that no treatment is.
func (b *brief) besides() {
	r := b.p.r
	if best := bestLight(r); best != nil {
		b.say(analysis.Lead, analysis.About(analysis.LightTerm()), fmt.Sprintf("light: best near %s (%s to %s)", b.lightOf(*best.Estimate), phrase.Number(best.CI95[0]), phrase.Number(best.CI95[1])))
	} else if l := r.Light; l != nil && l.Bend != nil && l.Bend.Standing.Told == analysis.Lead {
		b.say(analysis.Lead, analysis.About(analysis.LightTerm()), "light: what it does bends, and where it is best can't be said")
	}
	if l := r.Light; l != nil && l.BetweenBin != nil && l.BetweenBin.Standing.Told == analysis.Lead && l.BetweenBin.CI95 != nil && !kind.Of(r.Kind).Answers {
		b.say(analysis.Lead, analysis.About(analysis.LightTerm()), fmt.Sprintf("brighter bins too: %s with %s", change(r, *l.BetweenBin.Slope, *l.BetweenBin.CI95), b.per()))
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

// open tells what treatments leave open.
func (b *brief) open() {
	for i := range b.p.rankings {
		r := &b.p.rankings[i]
		if r.Term.B != analysis.None || r.Told(analysis.Claim) || r.Told(analysis.Lead) {
			continue
		}
		topic, name := analysis.About(r.Term), b.treatment(r.Term)+": "
		last := &r.Levels[len(r.Levels)-1]
		low, high, against := b.levelName(last.Cell), b.levelName(r.Highest().Cell), measured(b.p.r, last)
		with := ""
		if units := b.units(b.p.r, r.Term.A, r.Unit); units != "" {
			with = ", with " + units
		}
		switch {
		case last.Place == ranking.Uncertain:
			b.say(analysis.Open, topic, fmt.Sprintf("%s against %s: %s, not certain%s", low, high, against.short(), b.asked()))
		case last.Place == ranking.Alike:
			b.say(analysis.Open, topic, fmt.Sprintf("%sthe levels are alike to within what matters", name))
		case last.Place == ranking.Unknown:
			b.say(analysis.Open, topic, name+"too few to tell"+with)
		case against.ci.Closed() == nil:
			b.say(analysis.Open, topic, fmt.Sprintf("%s (%s) against %s (%s): not told apart", low, means(b.p.r, []*ranking.Level{last}), high, means(b.p.r, []*ranking.Level{r.Highest()})))
		default:
			b.say(analysis.Open, topic, fmt.Sprintf("%s against %s: %s%s", low, high, against.short(), with))
		}
	}
}

// described tells the mean where there is nothing to compare.
func (b *brief) described() {
	r := b.p.r
	if len(b.p.rankings) > 0 || len(b.in.Treatments) == 0 || len(r.Groups) == 0 || r.Groups[0].Mean == nil || r.Groups[0].N != r.N {
		return
	}
	mean := means(r, []*ranking.Level{{Group: &r.Groups[0]}})
	b.say(analysis.Open, analysis.Topic{}, fmt.Sprintf("%d plants, %s in the mean, and nothing beside them", r.N, mean))
}

// need tells what would settle the outcome.
func (b *brief) need() {
	needs := b.all.NextTrial.NeedsOf(b.p.r)
	var list []string
	for i, n := range needs {
		text, _ := size(n)
		if i == 0 {
			text = fmt.Sprintf("settling %s takes about %s", settles(n), text)
		}
		list = append(list, text)
	}
	if len(list) > 0 {
		b.say(analysis.Next, analysis.Topic{}, phrase.List(list))
	}
}

// Span is the interval of a level's difference from the highest; "" without one.
func Span(r *analysis.OutcomeResult, l *ranking.Level) string { return measured(r, l).span() }

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
