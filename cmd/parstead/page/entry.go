package page

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Entries takes in what the grower enters.
type Entries interface {
	// Offer is what can be entered now.
	Offer(context.Context) (*Offer, error)
	// Take stores entries and answers each in order. An entry that was stored
	// before is not stored again.
	Take(ctx context.Context, who string, entries []Entry) []Answer
	// Stored is the answer to an entry that was stored; ok is false if none was.
	Stored(id string) (a Answer, ok bool)
}

// Offer is what can be entered. Treatments are not in it: who scores is not to
// know them.
type Offer struct {
	Trial    string    `json:"trial"`
	Today    string    `json:"today"` // the day that is offered: today, within the trial
	Ends     string    `json:"ends"`  // the trial's last day
	Bins     []Grid    `json:"bins"`
	Plants   []Plant   `json:"plants"` // by bin, row and column
	Outcomes []Outcome `json:"outcomes"`
	Causes   []string  `json:"causes"` // of a loss
	Kinds    []string  `json:"kinds"`  // of a note
	Sensors  []string  `json:"sensors"`
}

// Grid is a bin's positions.
type Grid struct {
	Name    string `json:"name"`
	Rows    int    `json:"rows"`
	Columns int    `json:"columns"`
}

// Plant is a plant where it stands.
type Plant struct {
	Code     string            `json:"code"`
	Bin      string            `json:"bin,omitempty"` // "" where it has no place
	Row      int               `json:"row,omitempty"`
	Column   int               `json:"column,omitempty"`
	Fate     string            `json:"fate,omitempty"`   // what the sheet of the harvest says became of it
	Date     string            `json:"date,omitempty"`   // of its harvest
	Outcomes []string          `json:"outcomes"`         // those that are asked of it
	Values   map[string]string `json:"values,omitempty"` // what the sheet of the harvest holds
}

// Place is where the plant stands, in words.
func (p Plant) Place() string {
	if p.Bin == "" {
		return "no place"
	}
	return fmt.Sprintf("%s, row %d, column %d", p.Bin, p.Row, p.Column)
}

// Gone tells whether the plant no longer stands there.
func (p Plant) Gone() bool { return p.Fate == "lost" || p.Fate == "withdrawn" }

// Outcome is what can be counted or measured of a plant.
type Outcome struct {
	Name    string `json:"name"`
	Kind    string `json:"kind"` // measure, count, yes_no
	Unit    string `json:"unit,omitempty"`
	Harvest bool   `json:"harvest"`         // whether the sheet of the harvest takes it
	Gross   bool   `json:"gross,omitempty"` // it takes it with the dish, and the dish alone
}

// Plant finds a plant by what was typed, if that can be one plant alone.
func (o *Offer) Plant(typed string) (p Plant, ok bool) {
	if found := o.Matching(typed); len(found) == 1 {
		return found[0], true
	}
	return p, false
}

// Matching are the plants that may be meant by what was typed: the one of that
// code, in whatever capitals and with or without blanks; else those of that
// number; else those whose code ends so.
func (o *Offer) Matching(typed string) (found []Plant) {
	typed = squeezed(typed)
	if typed == "" {
		return nil
	}
	is := func(same func(code string) bool) (of []Plant) {
		for _, p := range o.Plants {
			if same(squeezed(p.Code)) {
				of = append(of, p)
			}
		}
		return of
	}
	for _, same := range []func(string) bool{
		func(code string) bool { return code == typed },
		func(code string) bool { return digits(typed) == typed && number(digits(code)) == number(typed) },
		func(code string) bool { return strings.HasSuffix(code, typed) },
	} {
		if found = is(same); len(found) > 0 {
			return found
		}
	}
	return nil
}

// squeezed is a code without capitals and blanks.
func squeezed(code string) string { return strings.ToLower(strings.Join(strings.Fields(code), "")) }

// digits are those that a code ends with.
func digits(code string) string {
	return code[len(strings.TrimRight(code, "0123456789")):]
}

// number is a code's number without leading zeros; "" where it has none.
func number(digits string) string {
	if digits == "" {
		return ""
	}
	return cmp.Or(strings.TrimLeft(digits, "0"), "0")
}

// Outcome finds an outcome by name.
func (o *Offer) Outcome(name string) (x Outcome, ok bool) {
	i := slices.IndexFunc(o.Outcomes, func(x Outcome) bool { return x.Name == name })
	if i < 0 {
		return x, false
	}
	return o.Outcomes[i], true
}

// What is being entered.
const (
	Count   = "count"   // a measurement during the season
	Harvest = "harvest" // what was found at the end
	Again   = "again"   // the second weighing
	Lost    = "lost"    // a plant that died
	Alive   = "alive"   // it had not
	Move    = "move"    // a plant that changed place, or two
	Note    = "note"    // a line in the log
)

var whats = []string{Count, Harvest, Again, Lost, Alive, Move, Note}

// Entry is one thing that a grower enters, each part as it was typed.
type Entry struct {
	ID             string // made where it was entered
	What           string
	Age            time.Duration // since it was entered
	Plant, Outcome string
	Value          string
	Tare           string // what of Value is the dish
	Cause, Day     string
	Bin            string
	Row, Column    string
	Swap           string // code of the plant that stands there and changes places
	Kind, Sensor   string
	Text           string
}

// parts are the entry's parts by their names in forms and requests.
func (e *Entry) parts() map[string]*string {
	return map[string]*string{
		"id": &e.ID, "what": &e.What, "plant": &e.Plant, "outcome": &e.Outcome, "value": &e.Value, "tare": &e.Tare, "cause": &e.Cause,
		"day": &e.Day, "bin": &e.Bin, "row": &e.Row, "column": &e.Column, "swap": &e.Swap, "kind": &e.Kind,
		"sensor": &e.Sensor, "text": &e.Text,
	}
}

// Content tells entries apart by what they say, whenever it was entered.
func (e *Entry) Content() string {
	sum := sha256.New()
	parts := e.parts()
	for _, name := range slices.Sorted(maps.Keys(parts)) {
		if name != "id" && (name != "tare" || e.Tare != "") { // tare came later than the others
			fmt.Fprintf(sum, "%q", *parts[name])
		}
	}
	return hex.EncodeToString(sum.Sum(nil)[:8])
}

const (
	longestPart = 200     // bytes
	longestText = 1000    // bytes of a note
	oldestEntry = 5 * 366 // days that a phone may have kept it
)

// readEntry takes an entry out of a request. What it says is checked by who
// stores it; here only that it can be an entry at all.
func readEntry(part func(string) string) (e Entry, err error) {
	for name, into := range e.parts() {
		text := strings.TrimSpace(part(name))
		longest := longestPart
		if name == "text" { // may have been written in several lines
			longest, text = longestText, strings.Join(strings.Fields(text), " ")
		}
		if len(text) > longest {
			return e, fmt.Errorf("%s is longer than %d bytes", name, longest)
		}
		if !utf8.ValidString(text) || strings.ContainsFunc(text, unseen) {
			return e, fmt.Errorf("%s holds signs that are no text", name)
		}
		*into = text
	}
	if age := part("age"); age != "" {
		seconds, err := strconv.ParseUint(age, 10, 32)
		if err != nil || seconds > oldestEntry*86400 {
			return e, fmt.Errorf("age %q is not a number of seconds", clip(age))
		}
		e.Age = time.Duration(seconds) * time.Second
	}
	if len(e.ID) < 16 || strings.ContainsFunc(e.ID, func(r rune) bool {
		return r != '-' && (r < '0' || r > '9') && (r < 'A' || r > 'Z') && (r < 'a' || r > 'z')
	}) {
		return e, fmt.Errorf("id %q is not 16 letters or digits, or more", clip(e.ID))
	}
	if !slices.Contains(whats, e.What) {
		return e, fmt.Errorf("%q is nothing that can be entered", clip(e.What))
	}
	return e, nil
}

// unseen tells signs that would act on the log instead of standing in it: control
// characters, and those that turn the direction of what follows (UAX #9, 2.1 to 2.5).
func unseen(r rune) bool {
	return unicode.IsControl(r) || r >= '\u202a' && r <= '\u202e' || r >= '\u2066' && r <= '\u2069'
}

func clip(s string) string { return s[:min(len(s), 40)] }

// The states of an entry.
const (
	Stored = "stored" // it is on the disk and needs nothing more
	Wrong  = "wrong"  // it can't be stored as it is
	Later  = "later"  // it can't be stored now
)

// Answer says what became of an entry.
type Answer struct {
	ID      string   `json:"id"`
	State   string   `json:"state"`
	Says    string   `json:"says"`
	Remarks []string `json:"remarks,omitempty"`
}
