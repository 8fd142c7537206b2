package several

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/model"
	"parstead/correlate/phrase"
)

// farApart is the ratio of two lengths of time beyond which what they brought
// forth is not averaged (our own choice).
const farApart = 1.25

// fewestAnswers is how many of either answer each level of a yes/no outcome needs
// for its logarithm of odds to be averaged (common practice, no source).
const fewestAnswers = 5

// judgeEffect says what the trials say together of one comparison.
func (c *Compared) judgeEffect(e *ComparedEffect, trials []Trial, labels []string) {
	lines := make([]*line, len(e.Trials))
	for i := range e.Trials {
		lines[i] = e.Trials[i].line
	}
	larger, smaller := "larger", "smaller"
	if kind.Of(e.Trials[0].Kind).Answers {
		larger, smaller = "more likely", "less likely"
	}
	e.Says = verdictWords(lines, larger, smaller, func(word string) string {
		return fmt.Sprintf("%s is %s with %s than with %s", e.Outcome, word, e.A, e.B)
	})
	if len(lines) < 2 {
		if e.elsewhere = onlyDescribed(e, trials, labels); e.elsewhere != "" {
			e.Says += " " + e.elsewhere
		}
		return
	}
	why := c.whyNotPooled(lines)
	if why == "" {
		why = whyNotEffects(e)
	}
	e.judge(lines, why)
	if e.Pooled != nil {
		for _, m := range []*PooledMean{&e.Pooled.TheseTrials, &e.Pooled.TrialsLikeThese} {
			if lines[0].ratio {
				m.Ratio, m.CI95 = analysis.Known(math.Exp(*m.Slope)), antilog(m.CI95)
			} else {
				m.Difference = m.Slope
			}
			m.Slope = nil
		}
	}
}

// judgeSlope says what the trials say together of one slope on light.
func (c *Compared) judgeSlope(s *ComparedSlope) {
	lines := make([]*line, len(s.Trials))
	for i := range s.Trials {
		lines[i] = s.Trials[i].line
	}
	s.Says = verdictWords(lines, "rises", "falls", func(word string) string {
		return fmt.Sprintf("%s %s with more light", s.Outcome, word)
	})
	if len(lines) < 2 {
		return
	}
	why := c.whyNotPooled(lines)
	if why == "" {
		why = whyNotSlopes(s)
	}
	s.judge(lines, why)
}

// judge tests agreement and pools, unless there is a reason why not.
func (j *Judged) judge(lines []*line, why string) {
	if why != "" {
		j.NotPooled = why
		j.Says += " Not pooled: " + why + "."
		return
	}
	list := make([]model.Estimate, len(lines))
	for i, l := range lines {
		list[i] = l.estimate
	}
	a := model.Agree(list)
	if !a.OK || analysis.Known(a.Q) == nil || analysis.Known(a.P) == nil {
		j.NotPooled = "the effects or their errors are too large or too small to reckon with"
		j.Says += " Not pooled: " + j.NotPooled + "."
		return
	}
	j.Agreement = &TrialsAgreement{Q: a.Q, DF: []float64{a.DF[0]}, P: a.P}
	if analysis.Known(a.DF[1]) != nil {
		j.Agreement.DF = append(j.Agreement.DF, a.DF[1])
	}
	j.agreementWords(lines, list)
	p := model.Pool(list)
	j.Pooled = &PooledEffect{Exploratory: true, TheseTrials: pooledMean(p.These), TrialsLikeThese: pooledMean(p.Like)}
	j.Pooled.BetweenTrials.SD, j.Pooled.BetweenTrials.CI95 = p.Between, analysis.KnownPair(p.BetweenCI95)
}

// pooledMean is a mean on the analysed scale, under Slope.
func pooledMean(e model.Estimate) PooledMean {
	return PooledMean{Slope: analysis.Known(e.Value), SE: analysis.Known(e.SE), CI95: analysis.Interval(e), DF: analysis.Known(e.DF)}
}

func antilog(ci *[2]float64) *[2]float64 {
	if ci == nil {
		return nil
	}
	return analysis.KnownPair([2]float64{math.Exp(ci[0]), math.Exp(ci[1])})
}

// agreementWords adds whether the trials agree. That a difference between them is
// not shown is never said without what would have shown, or that few trials show
// little.
func (j *Judged) agreementWords(lines []*line, list []model.Estimate) {
	if j.Agreement.P < 0.05 {
		j.Says += fmt.Sprintf(" The trials differ by more than their own errors explain (p %s): something that differs between them matters.", phrase.P(j.Agreement.P))
		return
	}
	j.Says += fmt.Sprintf(" That the trials differ is not shown (p %s)", phrase.P(j.Agreement.P))
	if len(list) > 2 {
		j.Says += "; few trials show such a thing only where it is large."
		return
	}
	v := list[0].SE*list[0].SE + list[1].SE*list[1].SE
	apart := model.Estimate{SE: math.Sqrt(v), DF: v * v / (math.Pow(list[0].SE, 4)/list[0].DF + math.Pow(list[1].SE, 4)/list[1].DF)}.Detectable()
	if analysis.Known(apart) == nil {
		j.Says += "."
		return
	}
	if lines[0].ratio {
		j.Agreement.SmallestDetectable = analysis.Known(math.Exp(apart))
		j.Says += fmt.Sprintf("; their effects would have to be apart by a factor of %s to show in four cases of five.", phrase.Number(math.Exp(apart)))
		return
	}
	j.Agreement.SmallestDetectable = analysis.Known(apart)
	j.Says += fmt.Sprintf("; their effects would have to be apart by %s to show in four cases of five.", phrase.Number(apart))
}

// verdictWords says in which trials an effect was shown; shown makes a sentence
// of the word for either direction.
func verdictWords(lines []*line, larger, smaller string, shown func(word string) string) string {
	by := map[string][]string{}
	for _, l := range lines {
		by[l.verdict] = append(by[l.verdict], l.label)
	}
	in := func(labels []string) string {
		switch {
		case len(labels) < len(lines) || len(lines) == 1:
			return "in " + phrase.List(labels)
		case len(lines) == 2:
			return "in both trials"
		}
		return fmt.Sprintf("in all %d trials", len(lines))
	}
	var text string
	switch l, s := by[analysis.Larger], by[analysis.Smaller]; {
	case len(l) > 0 && len(s) > 0:
		text = fmt.Sprintf("The trials contradict one another: %s %s, but %s %s", shown(larger), in(l), smaller, in(s))
	case len(l) > 0:
		text = shown(larger) + " " + in(l)
	case len(s) > 0:
		text = shown(smaller) + " " + in(s)
	case len(by[analysis.Equivalent]) == len(lines):
		return "No difference that matters " + in(by[analysis.Equivalent]) + "."
	case len(lines) == 1:
		return "Not shown."
	case len(by[analysis.Equivalent]) == 0 && len(lines) == 2:
		return "Shown in neither trial."
	case len(by[analysis.Equivalent]) == 0:
		return fmt.Sprintf("Shown in none of the %d trials.", len(lines))
	default:
		return "No difference that matters " + in(by[analysis.Equivalent]) + "; the rest can't tell."
	}
	if n := by[analysis.Equivalent]; len(n) > 0 {
		text += "; no difference that matters " + in(n)
	}
	if n := slices.Concat(by[analysis.CantTell], by[""]); len(n) > 0 {
		text += "; not shown " + in(n)
	}
	return text + "."
}

// onlyDescribed says why another trial that has both levels does not stand beside.
func onlyDescribed(e *ComparedEffect, trials []Trial, labels []string) string {
	for i := range trials {
		if labels[i] == e.Trials[0].Trial {
			continue
		}
		for _, r := range trials[i].Result.Outcomes {
			if r.Name != e.Outcome || phrase.Of(r.Of) != phrase.Of(e.Of) || !hasLevel(&r, e.Treatment, e.A) || !hasLevel(&r, e.Treatment, e.B) {
				continue
			}
			for _, k := range r.Checks {
				if k.Of == e.Treatment {
					return fmt.Sprintf("%s has both levels, but: %s.", labels[i], strings.TrimSuffix(k.Says, "."))
				}
			}
		}
	}
	return ""
}

func hasLevel(r *analysis.OutcomeResult, treatment, level string) bool {
	return slices.ContainsFunc(r.Groups, func(g analysis.Group) bool { return len(g.Levels) == 1 && g.Levels[treatment] == level })
}

// differs words the first of some properties in which lines are not alike:
// "the unit is g in A and mg in B"; "" where they are.
func differs(lines []*line, what string, of func(*line) string) string {
	first := of(lines[0])
	for _, l := range lines[1:] {
		if is := of(l); is != first {
			return fmt.Sprintf("%s is %s in %s and %s in %s", what, orNotSaid(first), lines[0].label, orNotSaid(is), l.label)
		}
	}
	return ""
}

func orNotSaid(text string) string {
	if text == "" {
		return "not said"
	}
	return text
}

// whyNotPooled is why effects or slopes may not be set against one another as
// numbers; "" where they may.
func (c *Compared) whyNotPooled(lines []*line) string {
	for i, l := range lines {
		for _, k := range lines[:i] {
			if c.shared[[2]string{k.label, l.label}] {
				return fmt.Sprintf("%s and %s hold the same plants", k.label, l.label)
			}
		}
	}
	column := func(c *analysis.Column) string {
		if c == nil {
			return "none"
		}
		return c.Name
	}
	for _, p := range []struct {
		what string
		of   func(*line) string
	}{
		{"the kind of outcome", func(l *line) string { return string(l.result.Kind) }},
		{"the scale", func(l *line) string { return string(l.result.Scale) }},
		{"the outcome's unit", func(l *line) string { return l.result.Unit }},
		{"the basis", func(l *line) string { return l.outcome.Basis }},
		{"the model", func(l *line) string { return l.result.Model }},
		{"the replicate", func(l *line) string { return l.unit }},
		{"the choice of plants", func(l *line) string {
			if l.outcome.OnlyText == "" {
				return "all"
			}
			return l.outcome.OnlyText
		}},
		{"the starting value", func(l *line) string { return column(l.outcome.Start) }},
		{"the exposure", func(l *line) string { return column(l.outcome.Exposure) }},
	} {
		if text := differs(lines, p.what, p.of); text != "" {
			return text
		}
	}
	if text := farIn(lines, "the trial", func(t *Trial) int { return t.Days }); text != "" {
		return text
	}
	for _, l := range lines {
		if !l.estimate.OK() {
			return fmt.Sprintf("%s has no estimate with an error, and leaving it out would favour the others", l.label)
		}
	}
	return ""
}

// farIn says where lengths of time are too far apart.
func farIn(lines []*line, what string, days func(*Trial) int) string {
	for _, l := range lines[1:] {
		a, b := days(lines[0].trial), days(l.trial)
		if float64(max(a, b)) > farApart*float64(min(a, b)) {
			return fmt.Sprintf("%s is %d days in %s and %d in %s", what, a, lines[0].label, b, l.label)
		}
	}
	return ""
}

// whyNotEffects is why comparisons of treatments may not be pooled.
func whyNotEffects(e *ComparedEffect) string {
	first := e.Trials[0]
	for _, t := range e.Trials[1:] {
		if (t.WithoutLight != nil) != (first.WithoutLight != nil) {
			with, without := first, t
			if t.WithoutLight != nil {
				with, without = t, first
			}
			return fmt.Sprintf("it is adjusted for light in %s and not in %s", with.Trial, without.Trial)
		}
	}
	for _, t := range e.Trials {
		if !kind.Of(t.Kind).Answers {
			continue
		}
		for _, g := range t.line.result.Groups {
			level, ok := g.Levels[e.Treatment]
			if !ok || len(g.Levels) != 1 || g.Mean == nil || level != e.A && level != e.B {
				continue
			}
			if yes := *g.Mean * float64(g.N); min(yes, float64(g.N)-yes) < fewestAnswers-0.5 {
				return fmt.Sprintf("%s of %s has fewer than %d of one answer", level, t.Trial, fewestAnswers)
			}
		}
	}
	return ""
}

// whyNotSlopes is why slopes on light may not be pooled.
func whyNotSlopes(s *ComparedSlope) string {
	lines := make([]*line, len(s.Trials))
	for i := range s.Trials {
		lines[i] = s.Trials[i].line
	}
	if text := differs(lines, "the light window", func(l *line) string { return l.trial.Window }); text != "" {
		return text
	}
	if text := farIn(lines, "the light window", func(t *Trial) int { return t.WindowDays }); text != "" {
		return text
	}
	first := s.Trials[0]
	for _, t := range s.Trials[1:] {
		if t.DLI[0] >= first.DLI[1] || first.DLI[0] >= t.DLI[1] {
			return fmt.Sprintf("light is %s to %s in %s and %s to %s in %s: where the response bends, its slope there is another",
				phrase.Number(first.DLI[0]), phrase.Number(first.DLI[1]), first.Trial, phrase.Number(t.DLI[0]), phrase.Number(t.DLI[1]), t.Trial)
		}
	}
	return ""
}
