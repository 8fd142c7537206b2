// Package phrase is how numbers, names and lists are written for people.
package phrase

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"parstead/correlate/analysis"
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
	return Minus(text)
}

// Freedom writes degrees of freedom and other counts, whole where they are.
func Freedom(d float64) string {
	if d == math.Trunc(d) && math.Abs(d) < 1e15 {
		return strconv.FormatFloat(d, 'f', 0, 64)
	}
	return Number(d)
}

// Percent writes a share for people.
func Percent(share float64) string {
	p := 100 * share
	switch a := math.Abs(p); {
	case a >= 10:
		return strconv.FormatFloat(p, 'f', 0, 64) + " %"
	case a >= 1:
		return strconv.FormatFloat(p, 'f', 1, 64) + " %"
	}
	return strconv.FormatFloat(p, 'g', 2, 64) + " %"
}

// P writes a p value for people.
func P(p float64) string {
	if p < 0.001 {
		return "below 0.001"
	}
	return strconv.FormatFloat(p, 'f', 3, 64)
}

// Unit adds a unit, if any, to a number.
func Unit(n, of string) string {
	if of == "" {
		return n
	}
	return n + " " + of
}

// Were counts plants with their verb: "1 plant was", "3 plants were".
func Were(n int) string {
	if n == 1 {
		return "1 plant was"
	}
	return strconv.Itoa(n) + " plants were"
}

// Few writes a small whole number as a word.
func Few(n int) string {
	words := []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"}
	if n < 0 || n >= len(words) {
		return strconv.Itoa(n)
	}
	return words[n]
}

// List joins names: "a, b and c".
func List(names []string) string {
	if len(names) < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:len(names)-1], ", ") + " and " + names[len(names)-1]
}

// Of writes the value of analyse_by: "species Peperomia".
func Of(of map[string]string) string {
	var parts []string
	for _, k := range slices.Sorted(maps.Keys(of)) {
		parts = append(parts, fmt.Sprintf("%s %s", k, of[k]))
	}
	return strings.Join(parts, ", ")
}

// Plant names a plant in a sentence: by its code or, from a flat table, by its line.
func Plant(code string, table bool) string {
	if table {
		return "the plant in " + code
	}
	return "plant " + code
}

// About names something of an outcome: "biomass_g, species Peperomia, medium".
func About(outcome string, of map[string]string, what string) string {
	parts := slices.DeleteFunc([]string{outcome, Of(of), what}, func(s string) bool { return s == "" })
	return strings.Join(parts, ", ")
}

// Cell names a cell by its level, or by two with their treatments: "feed low,
// medium coarse".
func Cell(in *analysis.Input, cell analysis.Cell) string {
	if len(cell) == 1 {
		return in.Treatments[cell[0].Treatment].Levels[cell[0].Level]
	}
	names := make([]string, len(cell))
	for i, at := range cell {
		t := &in.Treatments[at.Treatment]
		names[i] = t.Name + " " + t.Levels[at.Level]
	}
	slices.Sort(names)
	return strings.Join(names, ", ")
}

// Capital makes the first letter a capital.
func Capital(s string) string {
	first, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(first)) + s[n:]
}

// Current writes kilowatt hours with their price: "12.3 kWh or 3.70 EUR".
func Current(kwh, cost *float64, currency string) string {
	text := Number(*kwh) + " kWh"
	if cost != nil {
		text += fmt.Sprintf(" or %s %s", Number(*cost), currency)
	}
	return text
}
