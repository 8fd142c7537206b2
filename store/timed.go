package store

import (
	"slices"
	"sort"

	"parstead/light"
)

// giveBack takes the mark off readings that were set aside as untimed, from the
// series' first one on, where the log says that they came as they were read. What
// is on the disk stays as it was taken in: a mark is a judgement.
func (s *Snapshot) giveBack(sensor string, of *light.Series, first int) {
	if of.Marks == nil || !slices.ContainsFunc(s.log, func(e light.Event) bool { return e.Kind == light.Timed && e.Sensor == sensor }) {
		return
	}
	for _, e := range light.Standing(s.log) {
		if e.Kind != light.Timed || e.Sensor != sensor {
			continue
		}
		span := nanosOf(e.During)
		i := first + sort.Search(of.Len()-first, func(i int) bool { return of.Times[first+i] >= span.from })
		for ; i < of.Len() && of.Times[i] < span.until; i++ {
			of.Marks[i] &^= light.Untimed
		}
	}
}
