package correlate

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Number writes a number for people: three significant digits, more before the
// point where there are more.
func Number(x float64) string {
	text := ""
	switch a := math.Abs(x); {
	case x == 0:
		text = "0"
	case a >= 100 && a < 1e7:
		text = strconv.FormatFloat(math.Round(x), 'f', 0, 64)
	case a >= 1e7 || a < 1e-4:
		text = strconv.FormatFloat(x, 'e', 2, 64)
	default:
		rounded, _ := strconv.ParseFloat(strconv.FormatFloat(a, 'e', 2, 64), 64) // own text: never fails
		text = strconv.FormatFloat(x, 'f', max(0, 2-int(math.Floor(math.Log10(rounded)))), 64)
	}
	return strings.ReplaceAll(text, "-", "−")
}

// freedom writes degrees of freedom and other counts, whole where they are.
func freedom(d float64) string {
	if d == math.Trunc(d) && math.Abs(d) < 1e15 {
		return strconv.FormatFloat(d, 'f', 0, 64)
	}
	return Number(d)
}

// percent writes a share for people.
func percent(share float64) string {
	p := 100 * share
	switch a := math.Abs(p); {
	case a >= 10:
		return strconv.FormatFloat(p, 'f', 0, 64) + " %"
	case a >= 1:
		return strconv.FormatFloat(p, 'f', 1, 64) + " %"
	}
	return strconv.FormatFloat(p, 'g', 2, 64) + " %"
}

// pText writes a p value for people.
func pText(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return strconv.FormatFloat(p, 'f', 3, 64)
}

// withUnit adds the outcome's unit to a number.
func (s *sample) withUnit(n string) string { return unit(n, s.out.Unit) }

func unit(n, of string) string {
	if of == "" {
		return n
	}
	return n + " " + of
}

// were counts plants with their verb: "1 plant was", "3 plants were".
func were(n int) string {
	if n == 1 {
		return "1 plant was"
	}
	return strconv.Itoa(n) + " plants were"
}

// list joins names: "a, b and c".
func list(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

func sortedKeys(set map[string]bool) []string { return slices.Sorted(maps.Keys(set)) }

// of words the value of analyse_by: "species = Peperomia".
func ofWords(of map[string]string) string {
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(of)) {
		parts = append(parts, fmt.Sprintf("%s %s", k, of[k]))
	}
	return strings.Join(parts, ", ")
}

// plant names a plant in a sentence; a table's rows have lines, not codes.
func (in *Input) plant(code string) string {
	if in.Table {
		return "the plant in " + code
	}
	return "plant " + code
}
