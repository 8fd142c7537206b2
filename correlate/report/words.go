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

// ends are an interval's, for another program.
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
