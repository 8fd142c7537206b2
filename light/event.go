package light

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"
)

// Kind says what an entry of the trial's log is about.
type Kind string

// Kinds that a grower writes.
const (
	LampMoved        Kind = "lamp_moved"
	LampCleaned      Kind = "lamp_cleaned"
	LampReplaced     Kind = "lamp_replaced"
	ReflectorChanged Kind = "reflector_changed"
	SensorMoved      Kind = "sensor_moved"
	SensorCleaned    Kind = "sensor_cleaned"
	FloodMissed      Kind = "flood_missed"
	PowerCut         Kind = "power_cut"
	Contaminated     Kind = "contaminated"
	Treated          Kind = "treated"
	Ignore           Kind = "ignore" // sets a sensor's stretch aside
	Timed            Kind = "timed"  // a sensor's readings came as they were read, though set aside as untimed
	Mute             Kind = "mute"   // silences a known condition for a stretch
	Other            Kind = "other"
)

// Kinds that the program writes.
const (
	Started      Kind = "started"       // a daemon began to take readings
	ClockStepped Kind = "clock_stepped" // the system clock jumped
	Dealt        Kind = "dealt"         // a layout was dealt: seed, procedure, planned analysis
	Looked       Kind = "looked"        // results were read before the trial's end
	Entered      Kind = "entered"       // a value was entered at the page, for a sheet
	Filed        Kind = "filed"         // what was entered stands in the sheets
	Photographed Kind = "photographed"  // a photo of a plant was kept
	Withdrawn    Kind = "withdrawn"     // takes back the entry named by Withdraws
)

var growersKinds = []Kind{
	LampMoved, LampCleaned, LampReplaced, ReflectorChanged, SensorMoved, SensorCleaned,
	FloodMissed, PowerCut, Contaminated, Treated, Ignore, Timed, Mute, Other,
}

// Kinds lists the kinds that a grower writes.
func Kinds() []Kind { return slices.Clone(growersKinds) }

// Known tells whether entries of this kind are written, by growers or the program.
func (k Kind) Known() bool {
	switch k {
	case Started, ClockStepped, Dealt, Looked, Entered, Filed, Withdrawn:
		return true
	}
	return slices.Contains(growersKinds, k)
}

// ParseKind reads a kind that a grower may write.
func ParseKind(s string) (Kind, error) {
	if k := Kind(s); slices.Contains(growersKinds, k) {
		return k, nil
	}
	words := strings.Trim(fmt.Sprint(growersKinds), "[]")
	return "", fmt.Errorf("%q is not a kind of note: use one of %s", s, strings.ReplaceAll(words, " ", ", "))
}

// Programs tells whether the program writes entries of this kind, of what it does
// itself; a step of the clock is none of that.
func (k Kind) Programs() bool {
	switch k {
	case Started, Dealt, Looked, Entered, Filed, Photographed, Withdrawn:
		return true
	}
	return false
}

// OfStretch tells whether an event of this kind is about a stretch of time alone.
func (k Kind) OfStretch() bool { return k == Ignore || k == Timed || k == Mute }

// ChangesLight tells whether after an event of this kind sensors read otherwise than
// before: what ends a light map, and a lamp that was wiped.
func (k Kind) ChangesLight() bool { return k == LampCleaned || k.EndsMap() }

// EndsMap tells whether an event of this kind makes a light map invalid. A lamp that
// was wiped keeps its map's shape, with an error.
func (k Kind) EndsMap() bool {
	switch k {
	case LampMoved, LampReplaced, ReflectorChanged, SensorMoved, SensorCleaned:
		return true
	}
	return false
}

// Event is an entry of the trial's log. Entries are never changed or erased:
// one that was wrong is withdrawn by a later one.
type Event struct {
	ID      uint64
	At      time.Time // when it happened
	Written time.Time // when it was entered
	Kind    Kind
	Bin     string // "" for the whole rack
	Plant   string
	Sensor  string
	During  Span // for ignore, timed, mute and a power cut
	Text    string
	Data    []byte // what the program needs to read back (JSON), of its own kinds

	Withdraws uint64 // id of the entry that this one takes back; 0 for none
}

// Standing lists the events that no later one has withdrawn, ordered by At. A
// withdrawal can itself be withdrawn: the entry it took back then stands again.
func Standing(log []Event) []Event {
	byID := slices.SortedStableFunc(slices.Values(log), func(a, b Event) int { return cmp.Compare(a.ID, b.ID) })
	gone := map[uint64]bool{}
	for _, e := range slices.Backward(byID) {
		if e.Withdraws != 0 && e.Withdraws < e.ID && !gone[e.ID] {
			gone[e.Withdraws] = true
		}
	}
	var standing []Event
	for _, e := range byID {
		if !gone[e.ID] && e.Kind != Withdrawn {
			standing = append(standing, e)
		}
	}
	slices.SortStableFunc(standing, func(a, b Event) int { return a.At.Compare(b.At) })
	return standing
}
