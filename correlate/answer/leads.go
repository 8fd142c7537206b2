package answer

import (
	"fmt"
	"math"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// mostLeads is how many leads the answer names.
const mostLeads = 2

// leads names what stands out of all that was not planned.
func (t *teller) leads() string {
	var list []string
	for _, p := range t.rest {
		for i := range p.rankings {
			if c := largest(p.r, &p.rankings[i], analysis.Lead); c != nil && borneOut(p.r, c.Term) {
				list = append(list, t.leading(p, c))
			}
		}
	}
	for _, p := range append(append([]part{}, t.parts...), t.rest...) {
		if best := bestLight(p.r); best != nil {
			list = append(list, fmt.Sprintf("%s %s near %s of light (%s to %s)", t.whose(p), peaked(p), t.lightOf(*best.Estimate), phrase.Number(best.CI95[0]), phrase.Number(best.CI95[1])))
		}
	}
	for _, p := range t.rest {
		if l := p.r.Light; l != nil && l.Standing.Told == analysis.Lead && l.Slope.Slope != nil && l.CI95 != nil {
			list = append(list, fmt.Sprintf("with %s %s had %s", t.per(), t.whose(p), changed(p, *l.Slope.Slope, *l.CI95)))
		}
	}
	if len(list) > mostLeads {
		list = append(list[:mostLeads:mostLeads], "more below")
	}
	return strings.Join(list, "; ")
}

// lightOf words an amount of light.
func (t *teller) lightOf(x float64) string {
	if t.in.Light.Unit == "" {
		return phrase.Number(x)
	}
	return phrase.Number(x) + " mol a day"
}

// whose names the plants of a part.
func (t *teller) whose(p part) string {
	if name := of(p.r); name != "" {
		return name
	}
	return "plants"
}

// largest is the pair told as the kind that lies farthest from no difference.
func largest(r *analysis.OutcomeResult, of *ranking.Ranking, as analysis.FindingKind) *analysis.Comparison {
	var found *analysis.Comparison
	far := -1.0
	for _, c := range of.Pairs {
		if c.Standing.Told != as {
			continue
		}
		away := math.Inf(1) // some against none
		read := ranking.Read(r, c)
		if v := read.Value(); v != nil {
			away = math.Abs(*v)
			if of.Contrast != kind.Difference {
				away = math.Abs(math.Log(*v))
			}
		}
		if away > far {
			found, far = c, away
		}
	}
	return found
}

// peaked words the highest of an outcome as a verb.
func peaked(p part) string {
	if p.out.Basis != "" {
		return "was heaviest"
	}
	return "had " + most(p)
}

// borneOut tells whether labels dealt anew, where they were, agree with a treatment's
// test.
func borneOut(r *analysis.OutcomeResult, t analysis.Term) bool {
	e := analysis.Find(r.Effects, t)
	return e == nil || e.PRedealt == nil || e.P == nil || *e.PRedealt < 0.05 == (*e.P < 0.05)
}

// leading words a pair, the higher level first: "cultivar B gave 39 % more plantlets
// (16 to 67 %) than A".
func (t *teller) leading(p part, c *analysis.Comparison) string {
	low, high, against := lower(p.r, c)
	against.value, against.ci = ranking.Turned(against.kind, against.value, against.ci)
	first, whose := t.levelName(high), ""
	if len(high) == 1 {
		first = t.in.Treatments[high[0].Treatment].Name + " " + phrase.Cell(t.in, high)
	}
	if name := of(p.r); name != "" {
		whose = " in " + name
	}
	return fmt.Sprintf("%s gave %s%s", first, against.above(p.r.Name, phrase.Cell(t.in, low)), whose)
}

// above words how much more something gave than something else: "39 % more plantlets
// than A (16 to 67 %)".
func (c contrast) above(name, other string) string {
	closed := c.ci.Closed()
	switch {
	case c.value == nil || closed == nil:
		return "more " + name + " than " + other
	case c.kind == kind.Difference:
		return fmt.Sprintf("%s more %s than %s (%s to %s)", phrase.Unit(phrase.Number(*c.value), c.unit), name, other, phrase.Number(closed[0]), phrase.Unit(phrase.Number(closed[1]), c.unit))
	case c.kind == kind.OddsRatio:
		return fmt.Sprintf("%s the odds of %s on %s (%s to %s)", times(*c.value), name, other, times(closed[0]), times(closed[1]))
	case asFactors(*c.value, closed[0], closed[1]):
		return fmt.Sprintf("%s the %s of %s (%s to %s)", times(*c.value), name, other, times(closed[0]), times(closed[1]))
	}
	return fmt.Sprintf("%s more %s than %s (%s to %s)", percent(*c.value-1), name, other, hundredths(closed[0]-1), percent(closed[1]-1))
}
