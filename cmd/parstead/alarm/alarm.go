// Package alarm decides when a condition is told to the grower and when it is
// told to be over, out of what each look at the rack has found. It reads nothing
// and sends nothing.
package alarm

import (
	"slices"
	"time"

	"parstead/light/watch"
)

// Settling is how long after the start a condition that was told before may
// take to show again: a sensor is called silent only after a while.
const Settling = 30 * time.Minute

// State is what holds, and what of it was told.
type State struct {
	looked  bool // at least once, so that what holds is known
	holding []watch.Condition
	told    []watch.Condition // and not told to be over
	carried []watch.Condition // of these, told before the last stop and not found again yet
	settled time.Time         // until then what is carried may be found again
}

// New begins at a start, with what was told before the last stop.
func New(told []watch.Condition, now time.Time) *State {
	return &State{told: slices.Clone(told), carried: slices.Clone(told), settled: now.Add(Settling)}
}

// News is what a look has changed.
type News struct {
	Holding []watch.Condition // all that holds now, since it was first found
	Begun   []watch.Condition // of these, what did not hold at the look before
	Ended   []watch.Condition // what held at the look before
	Tell    []watch.Condition // what is to be told
	Over    []watch.Condition // what was told and is to be told to be over
}

// Holding is what held at the last look, gravest first; ok is false before the
// first one.
func (s *State) Holding() (list []watch.Condition, ok bool) {
	return slices.Clone(s.holding), s.looked
}

// Look takes in what a look has found: what the daemon knows of itself, which is
// certain at once, and what the readings show. That is told, and its end too,
// when two looks in a row agree: of a power cut one look may see the first bin
// dark and the next one all.
func (s *State) Look(own, shown []watch.Condition, now time.Time) News {
	before := s.holding
	found := keepSince(slices.Concat(before, s.told), slices.Concat(own, shown))
	s.holding, s.looked = found, true
	n := News{Holding: slices.Clone(found), Begun: notIn(found, before), Ended: notIn(before, found)}
	sure := notIn(found, notIn(found, slices.Concat(own, before)))
	for _, c := range notIn(sure, s.told) {
		if !absorbed(c, found) {
			n.Tell = append(n.Tell, c)
			s.told = append(s.told, c)
		}
	}
	s.carried = notIn(s.carried, found)
	s.told = slices.DeleteFunc(s.told, func(c watch.Condition) bool {
		switch {
		case holds(c, found), absorbed(c, found):
			return false
		case !c.Kind.Daemons() && holds(c, before):
			return false
		case now.Before(s.settled) && holds(c, s.carried):
			return false
		}
		n.Over = append(n.Over, c)
		return true
	})
	return n
}

// absorbed tells whether a condition of a larger part of the rack speaks for c:
// of the whole rack for a bin, of a bin for one of its sensors, of the broker for
// whoever is silent.
func absorbed(c watch.Condition, found []watch.Condition) bool {
	return slices.ContainsFunc(found, func(f watch.Condition) bool {
		if f.Kind == watch.Broker {
			return c.Kind == watch.Silent
		}
		return f.Kind == c.Kind && f.Cause() != c.Cause() && f.Sensor == "" && (f.Bin == "" || f.Bin == c.Bin)
	})
}

// holds tells whether list has the condition's cause.
func holds(c watch.Condition, list []watch.Condition) bool {
	return slices.ContainsFunc(list, func(o watch.Condition) bool { return c.Cause() == o.Cause() })
}

// notIn lists the conditions of list of which others has no cause.
func notIn(list, others []watch.Condition) []watch.Condition {
	return slices.DeleteFunc(slices.Clone(list), func(c watch.Condition) bool { return holds(c, others) })
}

// keepSince leaves a condition that goes on with the moment it was first found.
func keepSince(before, found []watch.Condition) []watch.Condition {
	for i := range found {
		for _, b := range before {
			if b.Cause() == found[i].Cause() && b.Since.Before(found[i].Since) {
				found[i].Since = b.Since
			}
		}
	}
	return found
}
