package watch

import (
	"cmp"
	"slices"
	"time"

	"parstead/light"
)

// Kind is a condition's fixed name, as metrics, messages and the log's mutes
// write it.
type Kind string

// The conditions that readings can show.
const (
	Dimmed         Kind = "dimmed"
	DarkWhenDue    Kind = "dark_when_due"
	LitWhenDark    Kind = "lit_when_dark"
	SwitchingDrift Kind = "switching_drift"
	Silent         Kind = "silent"
	Flat           Kind = "flat"
	Saturated      Kind = "saturated"
	Ratio          Kind = "ratio"
	Drifting       Kind = "drifting"
	OffTarget      Kind = "off_target"
	FloodMissed    Kind = "flood_missed"
	FloodStuck     Kind = "flood_stuck"
	Hot            Kind = "hot"
	Cold           Kind = "cold"
)

// The conditions that the daemon itself can be in.
const (
	Clock    Kind = "clock"    // the system clock can't be trusted
	Database Kind = "database" // readings.db is missing, replaced or damaged
	Disk     Kind = "disk"     // too little room, or readings can't be kept
	Broker   Kind = "broker"   // another broker is away, refuses, or has the session taken over
	Files    Kind = "files"    // the trial's files have an error; the old ones are in force
	Entries  Kind = "entries"  // what was entered at the page can't be written into the sheets
	Backup   Kind = "backup"   // no fresh backup exists
)

// Condition is one thing that is wrong. Its JSON is what a message of it says.
type Condition struct {
	Kind   Kind       `json:"condition"`
	Bin    string     `json:"bin"`    // "" where it concerns the whole rack
	Sensor string     `json:"sensor"` // "" where it concerns no single sensor
	Since  time.Time  `json:"since"`
	Until  *time.Time `json:"until,omitempty"` // set once it is over
	Says   string     `json:"says"`            // what and where, one sentence
	Do     string     `json:"do"`              // the safest step first
}

// Cause is what makes two conditions be about the same thing.
type Cause struct {
	Kind        Kind
	Bin, Sensor string
}

// Cause is the condition's.
func (c Condition) Cause() Cause { return Cause{c.Kind, c.Bin, c.Sensor} }

// Compare orders conditions by age, then by cause.
func (c Condition) Compare(o Condition) int {
	return cmp.Or(c.Since.Compare(o.Since), cmp.Compare(c.Kind, o.Kind),
		cmp.Compare(c.Bin, o.Bin), cmp.Compare(c.Sensor, o.Sensor))
}

// unplug is said first where water and lamps are near one another.
const unplug = "Switch off at the plug before touching anything. "

// kinds are all conditions, gravest first: what can kill plants soonest.
var kinds = []struct {
	kind Kind
	// daemons marks what the daemon finds out about itself: it is certain at once.
	daemons bool
	// shownBy tells which sensors can show it, where it is one cause if every bin
	// that has one shows it: a hot room, a power cut. nil: each stands by itself.
	shownBy func(light.Quantity) bool
	do      string // the safest step first; "" where that hangs on the case
}{
	{kind: Database, daemons: true},
	{kind: Disk, daemons: true},
	{kind: Broker, daemons: true},
	{kind: Files, daemons: true},
	{kind: Clock, daemons: true, do: "Readings that came before are dated anew. See that the machine gets its time from the network or has a clock with a battery."},
	{kind: Entries, daemons: true},
	{kind: Backup, daemons: true, do: "See that the stick or disk is in its place and has room, then wait an hour; or copy by hand: parstead backup."},
	{kind: FloodStuck, do: unplug + "Then look at the pump and the drain."},
	{kind: FloodMissed, do: unplug + "Then look at the pump, its timer and the water level; water the plants by hand meanwhile."},
	{kind: Hot, shownBy: thermometer, do: "Air the room or shade it; look at the fan. Lamps are switched off at the plug."},
	{kind: Cold, shownBy: thermometer, do: "Warm the room or look for a draught; heaters near water need residual-current protection."},
	{kind: DarkWhenDue, shownBy: light.Quantity.IsLight, do: unplug + "Then look at the timer, the plug and the lamp."},
	{kind: LitWhenDark, shownBy: light.Quantity.IsLight, do: unplug + "Then look at the timer, and for light that leaks in."},
	{kind: Silent},
	{kind: SwitchingDrift, shownBy: light.Quantity.IsLight, do: unplug + "Then set the timer's clock; if the new times are meant, write them into trial.toml with a from."},
	{kind: Dimmed, do: unplug + "Then look for dust, a shaded sensor or an ageing lamp; log what you change and survey the bin again."},
	{kind: OffTarget},
	{kind: Flat, do: "Restart the sensor; its stretch is left out of the light account."},
	{kind: Ratio, do: "Look for a leaf over the sensor, dirt, or a sensor that was moved; log what you find."},
	{kind: Drifting, do: "Look for a leaf over the sensor, dust or algae on it, and whether it sits as it did; wipe it, log what you do, and walk the bin with the meter."},
	{kind: Saturated, do: "Look for a loose cable, or a range that is too small for this light."},
}

func thermometer(q light.Quantity) bool { return q == light.QuantityTemperature }

// gravity is the kind's place among all, 0 the gravest; −1 for none of them.
func (k Kind) gravity() int {
	for i := range kinds {
		if kinds[i].kind == k {
			return i
		}
	}
	return -1
}

// Daemons tells whether the daemon finds it out about itself, so that it is
// certain at once; what readings show may look different a moment later.
func (k Kind) Daemons() bool {
	i := k.gravity()
	return i >= 0 && kinds[i].daemons
}

// shown tells whether the kind is one that readings can show.
func (k Kind) shown() bool {
	i := k.gravity()
	return i >= 0 && !kinds[i].daemons
}

// Do is the safest step first, for a kind that has one for all its cases.
func (k Kind) Do() string { return kinds[k.gravity()].do }

// Sort orders conditions, the gravest first.
func Sort(found []Condition) {
	slices.SortStableFunc(found, func(a, b Condition) int {
		return cmp.Or(cmp.Compare(a.Kind.gravity(), b.Kind.gravity()), a.Compare(b))
	})
}
