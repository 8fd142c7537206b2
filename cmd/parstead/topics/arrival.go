package topics

import (
	"encoding/json"
	"fmt"
	"regexp"
	"strings"
	"time"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
)

// Arrival is a number that arrives, as --json lists it.
type Arrival struct {
	Topic   string `json:"topic"`
	Pointer string `json:"pointer"` // "" where the payload is the number
	Example string `json:"example"`
	Every   string `json:"every"`  // "" where it came once
	Sensor  string `json:"sensor"` // "" where it belongs to none
	Wrong   string `json:"wrong"`  // what is wrong with the sensor's time; "" for nothing

	found ingest.Found
}

// conditionTopic matches what parstead itself publishes.
var conditionTopic = regexp.MustCompile(`^parstead/[^/]*/conditions/`)

// Arrivals lists what was heard, with the sensor of trial.toml that each belongs
// to, and without what parstead itself publishes.
func Arrivals(t *trial.Trial, heard daemon.Heard) []Arrival {
	type address struct{ topic, pointer string }
	owner := map[address]string{}
	for _, f := range t.Feeds {
		for _, one := range f.Expand() {
			owner[address{one.Topic, one.Value}] = one.Sensor.Name
		}
	}
	list := make([]Arrival, 0, len(heard.Found))
	for _, f := range heard.Found {
		if conditionTopic.MatchString(f.Topic) {
			continue
		}
		every := ""
		if f.Every > 0 {
			every = max(f.Every.Round(time.Second), time.Second).String()
		}
		list = append(list, Arrival{f.Topic, f.Pointer, f.Example, every, owner[address{f.Topic, f.Pointer}], f.Timeless, f})
	}
	return list
}

// Block is a [[sensor]] for a number that belongs to none yet.
func (a Arrival) Block(t *trial.Trial) string {
	measures, sure := light.GuessQuantity(a.Pointer)
	if !sure {
		measures, sure = light.GuessQuantity(a.Topic)
		sure = sure && a.Pointer == "" // else it may be of another number in the payload
	}
	if measures == 0 {
		measures = light.QuantityPPFD
	}
	var b strings.Builder
	line := func(key, value, remark string) {
		if remark != "" {
			remark = " # " + remark
		}
		fmt.Fprintf(&b, "%-11s = %s%s\n", key, quoted(value), remark)
	}
	b.WriteString("\n[[sensor]]\n")
	line("name", strings.Trim(strings.NewReplacer("/", " ").Replace(a.Topic+a.Pointer), " "), "")
	remark := ""
	if !sure {
		remark = "a guess"
	}
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
	if a.found.Time != "" {
		line("time", a.found.Time, "")
		if a.found.TimeFormat != ingest.RFC3339 {
			line("time_format", string(a.found.TimeFormat), "")
		}
	}
	if a.Every != "" {
		line("every", a.Every, "")
	}
	return b.String()
}

// quoted writes a string as TOML does: as JSON, and DEL escaped too.
func quoted(s string) string {
	text, err := json.Marshal(s)
	if err != nil {
		panic("parstead: " + err.Error()) // a string always has a JSON form
	}
	return strings.ReplaceAll(string(text), "\x7f", `\u007f`)
}
