package answer

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/phrase"
	"parstead/correlate/ranking"
)

// percent writes a change in whole per cent; less than two by more digits.
func percent(share float64) string { return phrase.Minus(hundredths(share)) + " %" }

func hundredths(share float64) string {
	p := 100 * share
	switch a := math.Abs(p); {
	case a >= 1.95 || a == 0:
		return strconv.FormatFloat(p, 'f', 0, 64)
	case a >= 0.095:
		return strconv.FormatFloat(p, 'f', 1, 64)
	}
	return strconv.FormatFloat(p, 'g', 1, 64)
}

// signed writes a change in per cent with its sign and without the per cent.
func signed(share float64) string {
	text := phrase.Minus(hundredths(share))
	if share > 0 {
		return "+" + text
	}
	return text
}

// times writes a factor.
func times(x float64) string { return "× " + phrase.Number(x) }

// asFactors tells whether a ratio or an end of its interval lies beyond half or double,
// where per cents are hard to read.
func asFactors(values ...float64) bool {
	for _, v := range values {
		if v < 0.5 || v > 2 {
			return true
		}
	}
	return false
}

// contrast words how something stands to something else, with an interval.
type contrast struct {
	kind  kind.Contrast
	unit  string
	value *float64
	ci    *analysis.Limits
}

// measured is a level's contrast with the highest.
func measured(r *analysis.OutcomeResult, l *ranking.Level) contrast {
	return contrast{kind.Compared(r.Kind, r.Scale), r.Unit, l.Value, l.CI95}
}

// short writes value and interval with their signs: "−21 % (−33 to −8 %)".
func (c contrast) short() string {
	closed := c.ci.Closed()
	switch {
	case c.ci != nil && closed == nil:
		return c.oneSided()
	case c.value == nil || closed == nil:
		return "no figure"
	case c.kind == kind.Difference:
		return fmt.Sprintf("%s (%s to %s)", phrase.Unit(plus(*c.value), c.unit), plus(closed[0]), phrase.Unit(plus(closed[1]), c.unit))
	case c.kind == kind.OddsRatio:
		return fmt.Sprintf("odds %s (%s to %s)", times(*c.value), times(closed[0]), times(closed[1]))
	case asFactors(*c.value, closed[0], closed[1]):
		return fmt.Sprintf("%s (%s to %s)", times(*c.value), times(closed[0]), times(closed[1]))
	}
	return fmt.Sprintf("%s %% (%s to %s %%)", signed(*c.value-1), signed(closed[0]-1), signed(closed[1]-1))
}

// span writes the interval alone: "−21 to +8 %".
func (c contrast) span() string {
	closed := c.ci.Closed()
	switch {
	case c.ci != nil && closed == nil:
		return c.oneSided()
	case closed == nil:
		return ""
	case c.kind == kind.Difference:
		return fmt.Sprintf("%s to %s", plus(closed[0]), phrase.Unit(plus(closed[1]), c.unit))
	case c.kind == kind.OddsRatio:
		return fmt.Sprintf("odds %s to %s", times(closed[0]), times(closed[1]))
	case asFactors(closed[0], closed[1]):
		return fmt.Sprintf("%s to %s", times(closed[0]), times(closed[1]))
	}
	return fmt.Sprintf("%s to %s %%", signed(closed[0]-1), signed(closed[1]-1))
}

// oneSided writes a limit where one of the two has no event.
func (c contrast) oneSided() string {
	if math.IsInf(c.ci[0], 0) {
		return "none, " + times(c.ci[1]) + " at most"
	}
	return "some against none, " + times(c.ci[0]) + " at least"
}

// below words a level below another: "21 % below bark (8 to 33 %)".
func (c contrast) below(other string) string {
	closed := c.ci.Closed()
	switch {
	case c.ci != nil && closed == nil:
		return "none at all, where " + other + " has some (" + times(c.ci[1]) + " at most)"
	case c.value == nil || closed == nil:
		return "below " + other
	case c.kind == kind.Difference:
		return fmt.Sprintf("%s below %s (%s to %s)", phrase.Unit(phrase.Number(-*c.value), c.unit), other, phrase.Number(-closed[1]), phrase.Unit(phrase.Number(-closed[0]), c.unit))
	case c.kind == kind.OddsRatio:
		return fmt.Sprintf("odds %s of those of %s (%s to %s)", times(*c.value), other, times(closed[0]), times(closed[1]))
	case asFactors(*c.value, closed[0], closed[1]):
		return fmt.Sprintf("%s of %s (%s to %s)", times(*c.value), other, times(closed[0]), times(closed[1]))
	}
	return fmt.Sprintf("%s below %s (%s to %s)", percent(1-*c.value), other, hundredths(1-closed[1]), percent(1-closed[0]))
}

// by words how far a level is below another: "21 % (8 to 33 %)".
func (c contrast) by() string {
	closed := c.ci.Closed()
	switch {
	case c.ci != nil && closed == nil:
		return "having none (" + times(c.ci[1]) + " at most)"
	case c.value == nil || closed == nil:
		return "an unknown amount"
	case c.kind == kind.Difference:
		return fmt.Sprintf("%s (%s to %s)", phrase.Unit(phrase.Number(-*c.value), c.unit), phrase.Number(-closed[1]), phrase.Unit(phrase.Number(-closed[0]), c.unit))
	case c.kind == kind.OddsRatio:
		return fmt.Sprintf("odds of %s (%s to %s)", times(*c.value), times(closed[0]), times(closed[1]))
	case asFactors(*c.value, closed[0], closed[1]):
		return fmt.Sprintf("%s (%s to %s)", times(*c.value), times(closed[0]), times(closed[1]))
	}
	return fmt.Sprintf("%s (%s to %s)", percent(1-*c.value), hundredths(1-closed[1]), percent(1-closed[0]))
}

// plus writes a number with its sign.
func plus(x float64) string {
	if x > 0 {
		return "+" + phrase.Number(x)
	}
	return phrase.Number(x)
}

// means lists the means of levels: "18.1, 16.7 and 16.3 g".
func means(r *analysis.OutcomeResult, levels []*ranking.Level) string {
	var list []string
	answers := kind.Of(r.Kind).Answers
	for _, l := range levels {
		if answers {
			list = append(list, strings.TrimSuffix(phrase.WholePercent(*l.Mean()), " %"))
		} else {
			list = append(list, phrase.Number(*l.Mean()))
		}
	}
	if answers {
		return phrase.List(list) + " % of plants"
	}
	return phrase.Unit(phrase.List(list), r.Unit)
}

// around words an interval that holds no difference: "from 21 % below bark to 8 % above
// it".
func (c contrast) around(other string) string {
	closed := c.ci.Closed()
	switch {
	case closed == nil:
		return "about " + other
	case c.kind == kind.Difference:
		return fmt.Sprintf("from %s below %s to %s above it", phrase.Unit(phrase.Number(-closed[0]), c.unit), other, phrase.Unit(phrase.Number(closed[1]), c.unit))
	case c.kind == kind.OddsRatio:
		return fmt.Sprintf("from %s to %s the odds of %s", times(closed[0]), times(closed[1]), other)
	case asFactors(closed[0], closed[1]):
		return fmt.Sprintf("from %s to %s of %s", times(closed[0]), times(closed[1]), other)
	}
	return fmt.Sprintf("from %s below %s to %s above it", percent(1-closed[0]), other, percent(closed[1]-1))
}
