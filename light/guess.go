package light

import (
	"slices"
	"strings"
	"unicode"
)

// Guess is what a stranger's number is taken for.
type Guess struct {
	Quantity Quantity // 0 where nothing tells
	Sure     bool     // a word or a unit tells of it
	Else     bool     // a word tells that it is something else
}

// elsewhere are words that make of a number another one than light, air or water at
// the plants: what gadgets send of themselves, and what is worked out or set. Common
// practice, no source.
var elsewhere = []string{
	"rssi", "snr", "signal", "linkquality", "wifi", "uptime", "heap", "cpu", "mcu", "board", "volt", "vcc", "vbat", "batt", "power", "energy",
	"state", "status", "switch", "relay", "button", "config", "interval", "count", "dew", "feels", "apparent", "min", "max", "target", "setpoint", "offset",
}

// generic are names of a value that say nothing of what it is.
var generic = []string{"value", "val", "v", "reading", "raw", "data", "measurement"}

// GuessQuantity tells what the number in a topic is, by the names that lead to it in
// the payload (a JSON Pointer, "" for the payload itself) and the unit behind it.
func GuessQuantity(topic, pointer, unit string) Guess {
	names := slices.DeleteFunc(wordsOf(pointer), func(w string) bool { return slices.Contains(generic, w) })
	named := len(names) > 0
	if !named {
		levels := strings.Split(topic, "/")
		names = wordsOf(levels[len(levels)-1])
	}
	switch {
	case anyOf(names, elsewhere), anyOf(wordsOf(topic), []string{"config", "discovery"}):
		return Guess{Else: true}
	case unit != "":
		if q := byUnit(unit); q != 0 {
			return Guess{Quantity: q, Sure: true}
		}
		return Guess{Else: true}
	}
	if q := hinted(names, (*quantity).sureWords); q != 0 {
		return Guess{Quantity: q, Sure: true}
	}
	if q := hinted(names, (*quantity).maybeWords); q != 0 {
		return Guess{Quantity: q}
	}
	if named {
		return Guess{} // words of the topic may be of another number in the payload
	}
	if q := hinted(wordsOf(topic), (*quantity).sureWords); q != 0 {
		return Guess{Quantity: q, Sure: pointer == ""}
	}
	return Guess{Quantity: hinted(wordsOf(topic), (*quantity).maybeWords)}
}

func (q *quantity) sureWords() []string  { return q.hints }
func (q *quantity) maybeWords() []string { return q.maybe }

// hinted is the first quantity of which a word tells; 0 for none.
func hinted(words []string, hints func(*quantity) []string) Quantity {
	for _, q := range Quantities() {
		if anyOf(words, hints(q.row())) {
			return q
		}
	}
	return 0
}

// byUnit is the quantity that is written with the unit; 0 for none.
func byUnit(unit string) Quantity {
	for _, q := range Quantities() {
		for _, u := range q.row().units {
			if unit == u || len(u) > 3 && strings.HasPrefix(unit, u) {
				return q
			}
		}
	}
	return 0
}

// shortHint is up to how many letters a hint has to be the whole word: "rh" is no
// part of "throat".
const shortHint = 3

func anyOf(words, hints []string) bool {
	return slices.ContainsFunc(words, func(w string) bool {
		return slices.ContainsFunc(hints, func(h string) bool { return w == h || len(h) > shortHint && strings.Contains(w, h) })
	})
}

// wordsOf cuts names at signs, where a capital follows a small letter, and where a
// letter follows a digit.
func wordsOf(names string) []string {
	var words []string
	var word []rune
	before := ' '
	for _, r := range names + " " {
		ends := !unicode.IsLetter(r) && !unicode.IsDigit(r)
		next := unicode.IsUpper(r) && unicode.IsLower(before) || unicode.IsLetter(r) && unicode.IsDigit(before)
		if (ends || next) && len(word) > 0 {
			words = append(words, strings.ToLower(string(word)))
			word = nil
		}
		if !ends {
			word = append(word, r)
		}
		before = r
	}
	return words
}
