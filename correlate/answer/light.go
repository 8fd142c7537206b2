package answer

import (
	"fmt"
	"math"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
)

// lit says whether light matters, and up to where it was measured.
func (t *teller) lit() (weight int, lead, says string) {
	if t.in.Light == nil {
		return light, "Light", ""
	}
	var claims, others []string
	for _, p := range t.parts {
		switch words, shown := t.slope(p); {
		case words == "", len(p.rankings) == 0 && len(t.in.Treatments) > 0:
		case shown:
			claims = append(claims, words)
		case bestLight(p.r) == nil: // else told as a lead
			others = append(others, words)
		}
	}
	open := ""
	if len(others) > 0 {
		open = "it can't be told yet " + strings.Join(shortened(others), "; nor ")
	}
	const caution = "but it was not dealt at random: heat or air may go with it"
	switch {
	case len(claims) > 0:
		return certain, "Light matters", joined([]string{strings.Join(shortened(claims), "; "), caution, open})
	case open != "":
		return light, "Light", open
	}
	return light, "Light", ""
}

// shortened keeps the first two of a list.
func shortened(list []string) []string {
	if len(list) > 2 {
		return append(list[:2:2], phrase.Few(len(list)-2)+" more below")
	}
	return list
}

// per words one more unit of light.
func (t *teller) per() string {
	if t.in.Light.Unit == "" {
		return "each unit of " + t.in.Light.Name + " more"
	}
	return "each mol a day more"
}

// slope words what light does to a part's plants; shown where that is a claim.
func (t *teller) slope(p part) (words string, shown bool) {
	l := p.r.Light
	if l == nil {
		return "", false
	}
	who := t.whose(p)
	if s := p.r.SlopesOf(analysis.LightTerm()); s != nil {
		return t.unlikeSlopes(p, s)
	}
	if l.Slope.Slope == nil || l.CI95 == nil {
		return "", false
	}
	switch {
	case l.Standing.Told == analysis.Claim:
		return fmt.Sprintf("with %s, %s, %s had %s%s", t.per(), reach(p.r), who, changed(p, *l.Slope.Slope, *l.CI95), t.costs(p)), true
	case l.P != nil && *l.P < 0.05:
		return fmt.Sprintf("for certain: with %s %s had %s", t.per(), who, changed(p, *l.Slope.Slope, *l.CI95)), false
	}
	return fmt.Sprintf("%s%s may change %s by %s", t.ofWhom(p), t.per(), p.r.Name, changeSpan(p.r, *l.CI95)), false
}

// ofWhom begins a clause on a part: "of Streptocarpus: ".
func (t *teller) ofWhom(p part) string {
	if name := of(p.r); name != "" {
		return "of " + name + ": "
	}
	return "whether it does: "
}

// reach words how far a slope was measured.
func reach(r *analysis.OutcomeResult) string {
	if *r.Light.Slope.Slope < 0 {
		return shortReach(r) + ", the darkest measured"
	}
	return shortReach(r) + ", the brightest measured"
}

// shortReach words the same as "up to 8.36" or "from 1.62 on".
func shortReach(r *analysis.OutcomeResult) string {
	low, high := measuredLight(r)
	if *r.Light.Slope.Slope < 0 {
		return "from " + phrase.Number(low) + " on"
	}
	return "up to " + phrase.Number(high)
}

// costs words the current of one more unit of the outcome by more light.
func (t *teller) costs(p part) string {
	for _, g := range t.all.Electricity.GainsOf(p.r) {
		if g.Term == analysis.LightTerm() && g.Verdict == analysis.Bounded && g.CostPerUnit != nil && p.r.Unit != "" {
			return fmt.Sprintf(", at %s %s of electricity a %s", t.all.Electricity.Currency, phrase.Number(*g.CostPerUnit), p.r.Unit)
		}
	}
	return ""
}

// unlikeSlopes words light whose slope depends on a treatment.
func (t *teller) unlikeSlopes(p part, s *analysis.LevelSlopes) (words string, shown bool) {
	treatment := t.in.Treatments[s.Treatment]
	var list []string
	for _, l := range s.Slopes {
		if l.Standing.Told == analysis.Claim {
			list = append(list, fmt.Sprintf("on %s %s had %s", treatment.Levels[l.Level], t.whose(p), changed(p, l.Slope, l.CI95)))
		}
	}
	if len(list) == 0 {
		return fmt.Sprintf("%swhat light does differs by %s", t.ofWhom(p), treatment.Name), false
	}
	return fmt.Sprintf("with %s %s, and what light does differs by %s", t.per(), phrase.List(list), treatment.Name), true
}

// changed words a slope as a change: "11 % more biomass_g (5 to 17 %)".
func changed(p part, slope float64, ci [2]float64) string {
	more := "more"
	if slope < 0 {
		more, slope, ci = "less", -slope, [2]float64{-ci[1], -ci[0]}
	}
	switch kind.Compared(p.r.Kind, p.r.Scale) {
	case kind.Difference:
		return fmt.Sprintf("%s %s %s (%s to %s)", phrase.Unit(phrase.Number(slope), p.r.Unit), more, p.r.Name, phrase.Number(ci[0]), phrase.Unit(phrase.Number(ci[1]), p.r.Unit))
	case kind.OddsRatio:
		if more == "less" {
			slope, ci = -slope, [2]float64{-ci[1], -ci[0]}
		}
		return fmt.Sprintf("%s the odds of %s (%s to %s)", times(math.Exp(slope)), p.r.Name, times(math.Exp(ci[0])), times(math.Exp(ci[1])))
	}
	if more == "less" {
		return fmt.Sprintf("%s less %s (%s to %s)", percent(-math.Expm1(-slope)), p.r.Name, hundredths(-math.Expm1(-ci[0])), percent(-math.Expm1(-ci[1])))
	}
	if asFactors(math.Exp(slope), math.Exp(ci[0]), math.Exp(ci[1])) {
		return fmt.Sprintf("%s the %s (%s to %s)", times(math.Exp(slope)), p.r.Name, times(math.Exp(ci[0])), times(math.Exp(ci[1])))
	}
	return fmt.Sprintf("%s more %s (%s to %s)", percent(math.Expm1(slope)), p.r.Name, hundredths(math.Expm1(ci[0])), percent(math.Expm1(ci[1])))
}

// changeSpan words the interval of a slope.
func changeSpan(r *analysis.OutcomeResult, ci [2]float64) string {
	how := kind.Compared(r.Kind, r.Scale)
	if how != kind.Difference {
		ci = [2]float64{math.Exp(ci[0]), math.Exp(ci[1])}
	}
	limits := analysis.Limits(ci)
	return contrast{kind: how, unit: r.Unit, ci: &limits}.span()
}

// measuredLight is the range of light of the plants in a result.
func measuredLight(r *analysis.OutcomeResult) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, p := range r.Points {
		low, high = min(low, p.Light), max(high, p.Light)
	}
	return low, high
}

// bestLight is the light that gave most, where the response bends as a lead and its
// whole interval was measured.
func bestLight(r *analysis.OutcomeResult) *analysis.Parameter {
	l := r.Light
	if l == nil || l.Bend == nil || l.Bend.Standing.Told != analysis.Lead {
		return nil
	}
	var best *analysis.LightCurve
	for i := range l.Curve {
		if c := &l.Curve[i]; c.AICc != nil && (best == nil || *c.AICc < *best.AICc) {
			best = c
		}
	}
	if best == nil {
		return nil
	}
	low, high := measuredLight(r)
	for i := range best.Parameters {
		if p := &best.Parameters[i]; p.Name == "optimum" && p.Estimate != nil && p.CI95 != nil && low <= p.CI95[0] && p.CI95[1] <= high {
			return p
		}
	}
	return nil
}
