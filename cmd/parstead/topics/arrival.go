package topics

import (
	"encoding/json"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"time"

	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
)

// Arrival is a number that arrives, or a payload without one, as --json lists it.
type Arrival struct {
	Topic   string `json:"topic"`
	Pointer string `json:"pointer"` // "" where the payload is the number
	Example string `json:"example"` // of a payload without a number its beginning
	Every   string `json:"every"`   // "" where it came once
	Sensor  string `json:"sensor"`  // "" where it belongs to none
	Wrong   string `json:"wrong"`   // why it is not read, with what to do; "" for nothing
	Likely  bool   `json:"likely"`  // whether it is taken for light, air or water

	AlsoIn []string `json:"also_in,omitempty"` // other trials at the broker that count this light sensor

	found ingest.Found
	guess light.Guess
}

// Unread tells whether a sensor of the trial can't use what came.
func (a *Arrival) Unread() bool { return a.Sensor != "" && a.Wrong != "" }

// NoNumber tells whether there is nothing in the payload that a sensor could read.
func (a *Arrival) NoNumber() bool { return a.found.NoNumber }

// Kept tells whether nothing came but what the broker had kept.
func (a *Arrival) Kept() bool { return a.found.Messages == 0 }

// ownTopic matches what parstead itself publishes.
var ownTopic = regexp.MustCompile(`^parstead/[^/]*/(` + broker.Conditions + `|` + broker.DLI + `|` + broker.DLILastDay + `|` + broker.Present + `)/`)

// Arrivals lists what was heard, with the sensor of trial.toml that each belongs
// to, and without what parstead itself publishes. First comes what sensors can't
// read.
func Arrivals(t *trial.Trial, heard Heard) []Arrival {
	type address struct{ topic, pointer string }
	owner := map[address]string{}
	for _, f := range t.Feeds {
		for _, one := range f.Expand() {
			owner[address{one.Topic, one.Value}] = one.Sensor.Name
		}
	}
	list := make([]Arrival, 0, len(heard.Found))
	for _, f := range heard.Found {
		if ownTopic.MatchString(f.Topic) {
			continue
		}
		every := ""
		if f.Every > 0 {
			every = max(f.Every.Round(time.Second), time.Second).String()
		}
		a := Arrival{
			Topic: f.Topic, Pointer: f.Pointer, Example: f.Example, Every: every, Sensor: owner[address{f.Topic, f.Pointer}],
			Wrong: f.Wrong, found: f, guess: light.GuessQuantity(f.Topic, f.Pointer, f.Form.Suffix),
		}
		if a.Sensor != "" {
			a.AlsoIn = heard.Others.Counting(strings.TrimSpace(f.Topic + " " + f.Pointer))
		}
		if needs := f.Form.Needs(); a.Sensor == "" && needs != "" {
			a.Wrong = "its [[sensor]] needs " + needs
		}
		state := strings.EqualFold(f.Example, "true") || strings.EqualFold(f.Example, "false")
		a.Likely = !f.NoNumber && a.guess.Quantity != 0 && state == (state && a.guess.Quantity.IsState()) && !a.Kept()
		list = append(list, a)
	}
	slices.SortStableFunc(list, func(a, b Arrival) int {
		switch {
		case a.Unread() == b.Unread():
			return 0
		case a.Unread():
			return -1
		}
		return 1
	})
	return list
}

// Silent lists the trial's sensors of which nothing came.
func Silent(t *trial.Trial, heard Heard) []string {
	came := map[string]bool{}
	for _, f := range heard.Found {
		came[f.Topic] = true
	}
	var names []string
	for _, f := range t.Feeds {
		for _, one := range f.Expand() {
			if !came[one.Topic] && !slices.Contains(names, one.Sensor.Name) {
				names = append(names, one.Sensor.Name)
			}
		}
	}
	return names
}

// Block is a [[sensor]] for a number that belongs to none yet; commented out where
// it is not likely to be light, air or water.
func (a Arrival) Block(t *trial.Trial) string {
	var b strings.Builder
	line := func(key, value, remark string) {
		if remark != "" {
			remark = " # " + remark
		}
		fmt.Fprintf(&b, "%-12s = %s%s\n", key, quoted(value), remark)
	}
	measures, remark := a.guess.Quantity, "a guess"
	if a.guess.Sure {
		remark = ""
	}
	if measures == 0 {
		measures = light.QuantityPPFD
	}
	b.WriteString("[[sensor]]\n")
	line("name", strings.Trim(strings.NewReplacer("/", " ").Replace(a.Topic+a.Pointer), " "), "")
	line("measures", measures.String(), remark)
	bin, remark := t.Rack.Bins[0].Name, "a guess"
	for _, x := range t.Rack.Bins {
		if strings.Contains(a.Topic, x.Name) {
			bin, remark = x.Name, ""
		}
	}
	line("bin", bin, remark)
	line("topic", a.Topic, "")
	if a.Pointer != "" {
		line("value", a.Pointer, "")
	}
	if form := a.found.Form; form.Suffix != "" {
		line("suffix", form.Suffix, "")
	}
	if form := a.found.Form; form.Decimal != "" {
		line("decimal_mark", form.Decimal, a.Example+" is then "+strings.Replace(a.Example, ",", ".", 1))
	}
	if a.found.Time != "" {
		line("time", a.found.Time, "")
		if a.found.TimeFormat != ingest.RFC3339 {
			line("time_format", string(a.found.TimeFormat), "")
		}
	}
	if a.Every != "" {
		line("every", a.Every, "")
	}
	if a.Likely {
		return "\n" + b.String()
	}
	return "\n# " + strings.ReplaceAll(strings.TrimSuffix(b.String(), "\n"), "\n", "\n# ") + "\n"
}

// quoted writes a string as TOML does: as JSON, and DEL escaped too.
func quoted(s string) string {
	text, err := json.Marshal(s)
	if err != nil {
		panic("parstead: " + err.Error()) // a string always has a JSON form
	}
	return strings.ReplaceAll(string(text), "\x7f", `\u007f`)
}
