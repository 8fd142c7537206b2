package phrase

import (
	"math"
	"strconv"
	"strings"

	"parstead/correlate/analysis"
)

// Optional writes a number that may be absent.
func Optional(x *float64) string {
	if x == nil {
		return ""
	}
	return Number(*x)
}

// Between writes an interval that may be absent.
func Between(ci *[2]float64) string {
	if ci == nil {
		return ""
	}
	return Number(ci[0]) + " to " + Number(ci[1])
}

// Given writes a number that someone gave, as it was given.
func Given(x float64) string { return Minus(strconv.FormatFloat(x, 'g', 6, 64)) }

// WholePercent writes a share where there is little room: in whole per cent, but for
// less than one.
func WholePercent(share float64) string {
	if a := math.Abs(100 * share); a > 0 && a < 1 {
		return Number(100*share) + " %"
	}
	return Minus(strconv.FormatFloat(100*share, 'f', 0, 64)) + " %"
}

// Minus writes the sign of a number as people do.
func Minus(number string) string { return strings.ReplaceAll(number, "-", "−") }

// Ends writes an interval that may be absent, or open at one end.
func Ends(l *analysis.Limits) string {
	switch {
	case l == nil:
		return ""
	case math.IsInf(l[0], -1):
		return "at most " + Number(l[1])
	case math.IsInf(l[1], 1):
		return "at least " + Number(l[0])
	}
	return Between(l.Closed())
}

// SharesBetween writes an interval of shares that may be absent.
func SharesBetween(ci *[2]float64) string {
	if ci == nil {
		return ""
	}
	return WholePercent(ci[0]) + " to " + WholePercent(ci[1])
}
