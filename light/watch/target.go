package watch

import (
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

const (
	targetDays = 3    // known light days in a row that a bin is off its target
	wholeDay   = 0.01 // share of a day's length that may be missing of one that is judged
	hoursADay  = 24.0
	leastHours = 0.5 // a change of the timer by less is not advised
)

// BinDay is the light of a bin on a light day that is over.
type BinDay struct {
	Date    light.Date
	Known   bool
	Mean    light.DLI // of the bin's positions
	Missing float64   // share of the day's length that is not known
}

// whole tells whether the day can be held against a target.
func (d BinDay) whole() bool { return d.Known && d.Missing <= wholeDay }

// offTarget finds a bin whose last light days, as many as targetDays, each gave
// more or less than its target by more than the rack allows. It holds since the
// first such day in a row. Days that are not known as a whole are passed over.
func (w *Watch) offTarget(bin light.Bin, days []BinDay, now time.Time) []Condition {
	if bin.TargetDLI <= 0 || w.rack.OffTarget <= 0 {
		return nil
	}
	off := func(d BinDay) bool {
		return math.Abs(float64(d.Mean/bin.TargetDLI)-1) > w.rack.OffTarget
	}
	n := 0
	var last, first BinDay
	for _, d := range slices.Backward(days) {
		if !d.whole() {
			continue
		}
		if !off(d) {
			break
		}
		if n == 0 {
			last = d
		}
		first = d
		n++
	}
	if n < targetDays || last.Date.DaysUntil(w.rack.DateAt(now)) > targetDays {
		return nil
	}
	return []Condition{{
		Kind: OffTarget, Bin: bin.Name, Since: w.rack.Day(first.Date).From,
		Says: offTargetSays(bin, last.Mean), Do: w.offTargetDo(bin, last),
	}}
}

func offTargetSays(bin light.Bin, got light.DLI) string {
	way := "is short of light"
	if got > bin.TargetDLI {
		way = "gets too much light"
	}
	return fmt.Sprintf("Bin %s %s: %.0f %% of what is meant, %.1f of %.1f mol m⁻² a day.",
		bin.Name, way, 100*float64(got/bin.TargetDLI), float64(got), float64(bin.TargetDLI))
}

// offTargetDo says how to bring the light back, and by how many lit hours where
// the timer alone can do it.
func (w *Watch) offTargetDo(bin light.Bin, last BinDay) string {
	lit := 0.0
	for _, s := range w.rack.Lit(bin, w.rack.Day(last.Date)) {
		lit += s.Length().Hours()
	}
	short := last.Mean < bin.TargetDLI
	var do string
	switch {
	case lit == 0 && short: // by daylight alone
		do = "Clean the glass, move the bin nearer to it, or hang a lamp over it"
	case lit == 0:
		do = "Hang a thin white curtain, or move the bin away from the glass"
	case short:
		do = unplug + "Then wipe the lamp or hang it lower"
	default:
		do = unplug + "Then hang the lamp higher"
	}
	if hours := lit * float64(bin.TargetDLI/last.Mean); lit > 0 && hours < hoursADay && math.Abs(hours-lit) >= leastHours {
		do += fmt.Sprintf(", or let it burn %.0f h a day, not %.0f", hours, lit)
	}
	return do + fmt.Sprintf("; log what you do. If %.1f is meant, write that as the bin's target_dli.", float64(last.Mean))
}
