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
	"parstead/correlate/ranking"
)

// mostPairs is how many pairs of one treatment are worded one by one.
const mostPairs = 6

func (t *teller) reading(c *analysis.Comparison) ranking.Reading { return ranking.Read(t.r, c) }

// pairs words comparisons: those that show something one by one, the others
// one by one where they are few.
func (t *teller) pairs(e analysis.Effect, pairs []*analysis.Comparison) {
	var shown, open []*analysis.Comparison
	for _, c := range pairs {
		if r := t.reading(c); r.Differs() || r.Verdict == analysis.Equivalent {
			shown = append(shown, c)
		} else {
			open = append(open, c)
		}
	}
	for i, c := range shown {
		if i == mostPairs {
			more := "1 more pair differs or is alike; it stands in the table"
			if rest := len(shown) - mostPairs; rest > 1 {
				more = fmt.Sprintf("%d more pairs differ or are alike; they stand in the table", rest)
			}
			t.say(e.Standing.Told, analysis.About(e.Term), "%s: %s.", e.Effect, more)
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

// pair words one comparison by its verdict, as what its standing allows.
func (t *teller) pair(c *analysis.Comparison, alone bool) {
	r := t.reading(c)
	about := t.about(c)
	if alone && c.P != nil {
		about += fmt.Sprintf("; p %s, %s%s", phrase.P(*r.P), t.replicates(c.Unit), t.adjusted(c.Term))
	}
	first, second, on := t.names(c)
	what := t.r.Name + on
	told, topic := c.Standing.Told, analysis.About(c.Term)
	if r.Differs() && told != analysis.Claim && told != analysis.Lead {
		told = analysis.Open
		about += "; " + t.only(c)
	}
	switch r.Verdict {
	case analysis.Larger:
		t.say(told, topic, "%s lies above %s in %s: %s.", first, second, what, about)
	case analysis.Smaller:
		t.say(told, topic, "%s lies below %s in %s: %s.", first, second, what, about)
	case analysis.Equivalent:
		t.say(analysis.Open, topic, "%s and %s are alike in %s to within %s: %s.", first, second, what, t.matters(), about)
	case analysis.CantTell:
		if t.r.HardlyTells(c) {
			t.say(analysis.Open, topic, "Between %s and %s: too few %ss to tell whether %s differs.", first, second, c.Unit, what)
			return
		}
		fallthrough
	default:
		if c.Unit != string(model.PerPlant) && kind.Of(t.r.Kind).Answers && c.Ratio != nil && c.CI95 != nil && (c.CI95[0] > 1 || c.CI95[1] < 1) {
			t.say(analysis.Open, topic, "%s and %s in %s: %s; over all ways to deal them, which decide, this may be chance.", first, second, what, about)
			return
		}
		t.say(analysis.Open, topic, "Between %s and %s no difference in %s was shown: %s%s.", first, second, what, about, t.wouldShow(*c))
	}
}

// names are those of a comparison's levels; of cells that differ in one treatment, on
// says which level of the other one they share.
func (t *teller) names(c *analysis.Comparison) (first, second, on string) {
	first, second = phrase.Cell(t.in, c.CellA), phrase.Cell(t.in, c.CellB)
	if len(c.CellA) == 1 {
		return c.Treatment + " " + first, second, ""
	}
	if c.CellA.Apart(c.CellB) != 1 {
		return first, second, ""
	}
	for _, at := range c.CellA {
		one := analysis.Cell{at}
		if level, _ := c.CellB.Level(at.Treatment); level == at.Level {
			on = fmt.Sprintf(" on %s %s", t.in.Treatments[at.Treatment].Name, phrase.Cell(t.in, one))
		} else {
			first = t.in.Treatments[at.Treatment].Name + " " + phrase.Cell(t.in, one)
			second = t.in.Treatments[at.Treatment].Levels[level]
		}
	}
	return first, second, on
}

// untested tells size and interval of pairs of which there is no test, unless they rest
// on too few units.
func (t *teller) untested(e analysis.Effect) {
	for _, c := range t.r.ComparisonsOf(e.Term) {
		if c.P != nil || c.CI95 == nil || t.r.HardlyTells(c) {
			continue
		}
		t.say(analysis.Open, analysis.About(e.Term), "%s %s against %s in %s: %s, %s.", c.Treatment, phrase.Cell(t.in, c.CellA), phrase.Cell(t.in, c.CellB), t.r.Name, t.about(c), t.replicates(c.Unit))
	}
}

// only says why a pair that stands out is not told as shown.
func (t *teller) only(c *analysis.Comparison) string {
	if c.PRobust != nil && *c.PRobust > 0.05 {
		return fmt.Sprintf("with each level's own spread p is %s, so that nothing was shown", phrase.P(*c.PRobust))
	}
	return t.asked()
}

// asked says of what stands out among how much it does, so that chance may have
// made it.
func (t *teller) asked() string {
	if t.beside() {
		return t.looked()
	}
	return t.planned()
}

// planned says the same of what was planned. Where one question was asked, only
// spreads that differ keep what stands out from being shown.
func (t *teller) planned() string {
	planned := t.all.Questions.Planned
	if planned == 1 {
		return "with plants' own spreads it does not hold"
	}
	return fmt.Sprintf("stands out alone; one of %s questions asked", phrase.Few(planned))
}

// looked says the same of what no plan asks.
func (t *teller) looked() string {
	return "among " + things(t.all.Questions.Others) + " looked at it may well be chance"
}

// about words a comparison's number and interval.
func (t *teller) about(c *analysis.Comparison) string {
	r := t.reading(c)
	value := r.Value()
	if c.OneSided() {
		return t.oneSided(c)
	}
	if value == nil || r.CI95 == nil {
		return t.shares(*c) + "one of the answers never came, so there is no odds ratio"
	}
	return t.shares(*c) + t.span(*value, *r.CI95)
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
		word = times
	case contrast == kind.Ratio:
		word = func(v float64) string { return signed(100*(v-1)) + " %" }
	}
	text := fmt.Sprintf("%s (95 %% interval %s to %s)", word(value), word(ci[0]), word(ci[1]))
	if t.contrast() == kind.OddsRatio {
		return "odds " + text
	}
	return text
}

// beyond is the multiple above which no number is worth its digits.
const beyond = 1e6

// times writes a multiple; one that lies by a hair off 1 with the digits that show it.
func times(v float64) string {
	switch {
	case v > beyond:
		return "more than a million times"
	case v < 1/beyond:
		return "less than a millionth"
	}
	text := phrase.Number(v)
	for digits := 3; digits <= 6 && v != 1; digits++ {
		if shown, err := strconv.ParseFloat(text, 64); err != nil || shown != 1 {
			break
		}
		text = strconv.FormatFloat(v, 'f', digits, 64)
	}
	return "× " + text
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
	if !t.promises(&c) {
		return ""
	}
	says := fmt.Sprintf("; this trial would have shown %s or more in four cases of five", t.size(*c.SmallestDetectable))
	return says + t.wouldNeed(c)
}

// promises tells whether a comparison has a smallest detectable difference worth telling.
func (t *teller) promises(c *analysis.Comparison) bool {
	return c.SmallestDetectable != nil && (t.contrast() == kind.Difference || *c.SmallestDetectable < math.Log(beyond))
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
func (t *teller) manyOpen(e analysis.Effect, open []*analysis.Comparison, of int) {
	widest := open[0]
	least, most := math.Inf(1), 0.0
	for _, c := range open {
		if !t.promises(c) {
			continue
		}
		least = min(least, *c.SmallestDetectable)
		if *c.SmallestDetectable > most {
			most, widest = *c.SmallestDetectable, c
		}
	}
	if !slices.ContainsFunc(open, func(c *analysis.Comparison) bool { return !t.r.HardlyTells(c) }) {
		t.say(analysis.Open, analysis.About(e.Term), "%s: too few %ss to tell whether its levels differ in %s, %s.", e.Effect, open[0].Unit, t.r.Name, among(len(open), of))
		return
	}
	if most == 0 {
		t.say(analysis.Open, analysis.About(e.Term), "%s: no difference in %s was shown %s.", e.Effect, t.r.Name, among(len(open), of))
		return
	}
	t.say(analysis.Open, analysis.About(e.Term), "%s: no difference in %s was shown %s; this trial would have shown %s or more in four cases of five%s; the widest interval is that of %s and %s, %s.",
		e.Effect, t.r.Name, among(len(open), of), t.sizes(least, most), t.wouldNeed(*widest), phrase.Cell(t.in, widest.CellA), phrase.Cell(t.in, widest.CellB), t.about(widest))
}

// among words how many of the pairs are meant.
func among(open, of int) string {
	if open == of {
		return fmt.Sprintf("for any of its %d pairs", of)
	}
	return fmt.Sprintf("for %d of its %d pairs", open, of)
}
