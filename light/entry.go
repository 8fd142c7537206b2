package light

import "time"

// Entry is an event as a list for other programs has it: times as text in UTC, ""
// for what it has not.
type Entry struct {
	ID        uint64 `json:"id"`
	At        string `json:"at"`
	Written   string `json:"written"`
	Kind      string `json:"kind"`
	Bin       string `json:"bin,omitempty"`
	Plant     string `json:"plant,omitempty"`
	Sensor    string `json:"sensor,omitempty"`
	From      string `json:"from,omitempty"`
	Until     string `json:"until,omitempty"`
	Text      string `json:"text,omitempty"`
	Withdraws uint64 `json:"withdraws,omitempty"`
	Withdrawn bool   `json:"withdrawn,omitempty"`
}

// Entries lists a log, what was withdrawn marked.
func Entries(log []Event) []Entry {
	stands := map[uint64]bool{}
	for _, e := range Standing(log) {
		stands[e.ID] = true
	}
	utc := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.UTC().Format(time.RFC3339)
	}
	list := make([]Entry, 0, len(log))
	for _, e := range log {
		list = append(list, Entry{
			ID: e.ID, At: utc(e.At), Written: utc(e.Written), Kind: string(e.Kind), Bin: e.Bin, Plant: e.Plant, Sensor: e.Sensor,
			From: utc(e.During.From), Until: utc(e.During.Until), Text: e.Text, Withdraws: e.Withdraws, Withdrawn: !stands[e.ID] && e.Kind != Withdrawn,
		})
	}
	return list
}
