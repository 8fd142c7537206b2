package light

// Fate is what became of a reading that was offered to a store.
type Fate uint8

// The fates of a reading.
const (
	Stored      Fate = iota // kept
	Duplicate               // same sensor, own time and value as one already kept: not kept again
	Conflicting             // same sensor and own time, another value: kept, marked Conflict
)
