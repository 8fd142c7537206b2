package sentences

import (
	"cmp"
	"fmt"
	"math"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
)

// notAtRandom is what every finding about light has to add.
const notAtRandom = "Positions were not given their light at random: heat, air and edge may travel with it."

var (
	lit    = analysis.About(analysis.LightTerm())
	placed = analysis.Topic{Subject: analysis.OfPlace}
	edge   = analysis.Topic{Subject: analysis.OfEdge}
	lost   = analysis.Topic{Subject: analysis.OfLosses}
)

// light words what light was found to do.
func (t *teller) light() {
	l := t.r.Light
	if l == nil {
		return
	}
	step, unit := t.step(t.in.Light.Values), t.in.Light.Unit
	if step < 1 {
		unit = phrase.Unit(phrase.Number(step), unit)
	}
	per := "With every " + unit + " more light"
	if t.in.Light.Unit == "" {
		per = "With every " + cmp.Or(unit, "unit") + " of " + t.in.Light.Name
	}
	if l.Slope.Slope != nil && l.CI95 != nil && !t.levelSlopes(analysis.LightTerm(), strings.TrimPrefix(per, "With "), step) {
		where := ""
		if l.WithinBin != nil {
			where = ", within bins"
		}
		t.slope(lit, l.Standing, t.asked(), per, *l.Slope.Slope*step, scaled(*l.CI95, step), l.P, where)
	} else if l.CI95 == nil && l.P != nil {
		told := l.Standing.Told
		if told != analysis.Claim && told != analysis.Lead {
			told = analysis.Open
		}
		t.say(told, lit, "Light and %s: p %s within bins, but the plants of bins with both answers are too few to tell how strong it is.", t.r.Name, phrase.P(*l.P))
	}
	t.slopeBetween(per, step)
	if c := l.Corrected; c != nil {
		within := ""
		if l.WithinBin != nil {
			within = " within bins"
		}
		t.say(analysis.Caution, lit, "Chance error in the light figures hides a part of what light does; without that error, the change%s is %s.", within, t.risen(c.Slope*step, scaled(c.CI95, step)))
	}
	t.straight()
	t.curves()
	if l.CI95 != nil || l.P != nil || l.BetweenBin != nil && l.BetweenBin.CI95 != nil {
		window := ""
		if by := t.in.Light.ByWindow; by != "" {
			window = fmt.Sprintf("Light is each plant's mean daily light integral %s. ", by)
		}
		t.say(analysis.Caution, lit, "%s", window+notAtRandom)
	}
}

// slopeBetween words the slope of light between bins.
func (t *teller) slopeBetween(per string, step float64) {
	b := t.r.Light.BetweenBin
	if b == nil || b.CI95 == nil || b.Slope == nil {
		return
	}
	more := ", between bins"
	if b.DF != nil {
		degrees := "degrees"
		if *b.DF == 1 {
			degrees = "degree"
		}
		more += fmt.Sprintf(" on %s residual %s of freedom", phrase.Freedom(*b.DF), degrees)
	}
	var whole []string
	for _, c := range t.r.Checks {
		if c.Check == analysis.BetweenBins && c.Of != "" {
			whole = append(whole, c.Of)
		}
	}
	if len(whole) > 0 {
		more += fmt.Sprintf("; this may be what %s did to whole bins", phrase.List(whole))
	}
	slope, ci := *b.Slope*step, scaled(*b.CI95, step)
	t.sloped(lit, b.Standing, t.looked(), per, slope, ci, b.P, t.betweenBins(slope, ci)+more)
}

// straight says where a straight slope misses what light does.
func (t *teller) straight() {
	if b := t.r.Light.Bend; b != nil && b.P < 0.05 {
		t.say(analysis.Caution, lit, "The response to light bends (p %s): a straight slope is no more than its average over the measured light.", phrase.P(b.P))
		return
	}
	if c := t.r.CheckOf(analysis.Fits); c != nil && c.P != nil && *c.P < 0.05 {
		t.say(analysis.Caution, lit, "A straight slope misses a pattern: plants that are alike in all that is in the model lie off its line together (p %s).", phrase.P(*c.P))
	}
}

// betweenBins words a slope between bins: of yes/no answers it is one of the bins'
// shares.
func (t *teller) betweenBins(value float64, ci [2]float64) string {
	if !kind.Of(t.r.Kind).Answers {
		return t.risen(value, ci)
	}
	return fmt.Sprintf("%s of a hundred plants (95 %% interval %s to %s)", signed(100*value), signed(100*ci[0]), signed(100*ci[1]))
}

// curves words the shapes that fit about as well as the best, and what only
// the measured light can tell.
func (t *teller) curves() {
	curves := t.r.Light.Curve
	best := math.Inf(1)
	for _, c := range curves {
		if c.AICc != nil {
			best = min(best, *c.AICc)
		}
	}
	var close []string
	for _, c := range curves {
		if c.AICc == nil || *c.AICc > best+2 {
			continue
		}
		text := c.Shape
		var points []string
		for _, p := range c.Predictions {
			if p.Value != nil {
				points = append(points, fmt.Sprintf("%s at %s", phrase.Unit(phrase.Number(*p.Value), t.r.Unit), phrase.Number(p.DLI)))
			}
		}
		if len(points) > 0 {
			text += " (" + strings.Join(points, ", ") + ")"
		}
		close = append(close, text)
	}
	if len(close) > 0 {
		bends := ""
		if t.bent() == analysis.Lead {
			bends = fmt.Sprintf("The response to light bends%s. ", discovery(t.r.Light.Bend.Standing))
		}
		t.say(t.bent(), lit, "%sOver the measured light these shapes fit about equally well or best: %s.", bends, strings.Join(close, "; "))
	}
	low, high := t.measured()
	for _, c := range curves {
		if c.AICc == nil || *c.AICc > best+2 {
			continue
		}
		for _, p := range c.Parameters {
			t.turning(c.Shape, p, low, high)
		}
	}
}

// bent is what the shape of the light response may be told as.
func (t *teller) bent() analysis.FindingKind {
	if b := t.r.Light.Bend; b != nil && b.Standing.Told == analysis.Lead {
		return analysis.Lead
	}
	return analysis.Open
}

// turning words a half-saturation or an optimum, only where its whole interval
// lies inside the measured light.
func (t *teller) turning(shape string, p analysis.Parameter, low, high float64) {
	what := ""
	switch {
	case p.Name == "optimum":
		what = "the best light"
	case p.Name == "K" && shape == "hyperbola":
		what = "the light at half of the most that can be reached"
	default:
		return
	}
	if p.CI95 == nil || p.Estimate == nil || p.CI95[0] < low || p.CI95[1] > high {
		t.say(analysis.Open, lit, "Given the shape %s, %s cannot be said from the measured light (%s to %s).", shape, what, phrase.Number(low), phrase.Number(high))
		return
	}
	t.say(t.bent(), lit, "Given the shape %s, %s is %s (95 %% interval %s to %s).", shape, what, phrase.Unit(phrase.Number(*p.Estimate), t.in.Light.Unit), phrase.Number(p.CI95[0]), phrase.Number(p.CI95[1]))
}

// measured is the range of light of the plants in the results.
func (t *teller) measured() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range t.r.Points {
		low, high = min(low, p.Light), max(high, p.Light)
	}
	return low, high
}

// place words what was left in where the plants stood.
func (t *teller) place() {
	p := t.r.Position
	if p == nil {
		return
	}
	value, i, after := p.P, p.MoranI, ""
	if p.PAfterLight != nil {
		value, i, after = p.PAfterLight, p.MoranIAfterLight, ", light taken into account"
	}
	told := p.Standing.Told
	switch {
	case value == nil || i == nil:
	case *value < 0.05:
		about := ": something about the place is not in it"
		if told != analysis.Lead {
			told, about = analysis.Open, "; "+t.looked()
		}
		t.say(told, placed, "Neighbours are alike in what the model leaves%s (Moran's I %s, p %s)%s.", after, phrase.Number(*i), phrase.P(*value), about)
		if t.in.Dealt == nil {
			t.say(analysis.Caution, placed, "Neighbours are alike in what the model leaves%s (p %s): if plants did not come to their places by chance, what is told of treatments may be told too surely.", after, phrase.P(*value))
		}
	default:
		t.say(analysis.Open, placed, "No pattern of place was found%s (Moran's I %s, p %s), which does not say that there is none.", after, phrase.Number(*i), phrase.P(*value))
	}
	t.edge(p.Edge)
}

// edge words the difference of edge plants from inner ones.
func (t *teller) edge(e *analysis.Edge) {
	if t.r.EdgeIsLight {
		t.say(analysis.Caution, edge, "Edge plants are exactly those with other light, so that edge and light can't be told apart: what is told of light may be the edge's doing.")
	}
	if e == nil || e.Estimate == nil || e.CI95 == nil {
		return
	}
	text := t.risen(*e.Estimate, *e.CI95)
	beside := ""
	if t.r.Light != nil && t.r.Light.Slope.Slope != nil {
		beside = " beside light"
	}
	switch told := e.Standing.Told; {
	case !e.Apart():
		t.say(analysis.Caution, edge, "Edge and light can't be told apart here (variance inflation %s): %s for the edge%s, to be read with that in mind.", phrase.Number(*e.VIF), text, beside)
	case e.CI95[0] > 0 || e.CI95[1] < 0:
		if told != analysis.Lead {
			told, text = analysis.Open, text+"; "+t.looked()
		}
		t.say(told, edge, "Edge plants differ from inner ones%s: %s.", beside, text)
	default:
		t.say(analysis.Open, edge, "No difference of edge plants was shown%s: %s.", beside, text)
	}
}

// suspects names plants to look at again.
func (t *teller) suspects() {
	const named = 3
	for k, x := range t.r.Suspects {
		if k == named {
			rest := len(t.r.Suspects) - named
			if rest == 1 {
				t.say(analysis.Caution, whole, "1 more plant lies far off; it stands in the table.")
			} else {
				t.say(analysis.Caution, whole, "%d more plants lie far off; they stand in the table.", rest)
			}
			break
		}
		text := fmt.Sprintf("%s (%s) lies far off what the model expects: look at it again. It was kept in", phrase.Capital(phrase.Plant(x.Plant, t.in.Table)), phrase.Unit(phrase.Number(x.Value), t.r.Unit))
		if e := analysis.Find(t.r.Effects, x.About); e != nil && x.PWithout != nil {
			text += fmt.Sprintf("; without it p for %s is %s", e.Effect, phrase.P(*x.PWithout))
		}
		t.say(analysis.Caution, whole, "%s.", text)
	}
}
