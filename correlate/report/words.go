package report

import (
	"fmt"
	"math"
	"strconv"

	"parstead/correlate/phrase"
)

// number writes a number as the findings do; nothing for one that is not known.
func number(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return phrase.Number(x)
}

// short writes a number that someone gave, as it was given.
func short(x float64) string { return minus(strconv.FormatFloat(x, 'g', 6, 64)) }

func known(x *float64) string {
	if x == nil {
		return ""
	}
	return number(*x)
}

func between(ci *[2]float64) string {
	if ci == nil {
		return ""
	}
	return number(ci[0]) + " to " + number(ci[1])
}

// percent writes a share.
func percent(share float64) string {
	if a := math.Abs(100 * share); a > 0 && a < 1 {
		return number(100*share) + " %"
	}
	return minus(strconv.FormatFloat(100*share, 'f', 0, 64)) + " %"
}

func shareWords(share *float64) string {
	if share == nil {
		return ""
	}
	return percent(*share)
}

func sharesBetween(ci *[2]float64) string {
	if ci == nil {
		return ""
	}
	return percent(ci[0]) + " to " + percent(ci[1])
}

// chance writes a p value, which stands in tables only.
func chance(p *float64) string {
	switch {
	case p == nil:
		return ""
	case *p < 0.001:
		return "< 0.001"
	}
	return strconv.FormatFloat(*p, 'f', 3, 64)
}

// exact writes a number for another program.
func exact(x float64) string {
	if math.IsNaN(x) {
		return ""
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}

func exactOf(x *float64) string {
	if x == nil {
		return ""
	}
	return exact(*x)
}

func ends(ci *[2]float64) (low, high string) {
	if ci == nil {
		return "", ""
	}
	return exact(ci[0]), exact(ci[1])
}

func unit(words, of string) string {
	if of == "" {
		return words
	}
	return words + ", " + of
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
