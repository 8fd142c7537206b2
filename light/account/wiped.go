package account

import (
	"math"
	"slices"
	"time"

	"parstead/light/field"
)

// wipedError is the error of a light map's shape after its lamp was wiped, as a
// share, until the bin is walked again: dust lies unevenly (this project's choice, no
// source).
const wipedError = 0.05

// wipe gives the bin's maps the error of lamps that were wiped since they were
// walked: from the wiping to the next reading of the meter. A map that was walked
// only afterwards has it before the wiping.
func (b *bin) wipe(wiped []time.Time, survey []field.Reading) {
	slices.SortFunc(wiped, time.Time.Compare)
	for _, at := range wiped {
		i := slices.IndexFunc(b.maps, func(m field.Map) bool { return m.During.Holds(at) })
		if i < 0 {
			continue
		}
		m := b.maps[i]
		from, until := at, m.During.Until
		before := false
		for _, r := range survey {
			if !m.During.Holds(r.At) && !r.At.Equal(m.Walked) {
				continue
			}
			before = before || r.At.Before(at)
			if !r.At.Before(at) && (until.IsZero() || r.At.Before(until)) {
				until = r.At
			}
		}
		if !before {
			from, until = m.During.From, at
		}
		b.unsureOf(i, from, until)
	}
}

// unsureOf parts a map in up to three, the one from one instant to another with the
// error of a wiped lamp.
func (b *bin) unsureOf(i int, from, until time.Time) {
	m, sun := b.maps[i], b.sunOf(i)
	parts := []field.Map{m, wipedMap(m), m}
	suns := []*sunMap{sun, sun.wiped(), sun}
	parts[0].During.Until, parts[1].During.From = from, from
	parts[1].During.Until, parts[2].During.From = until, until
	var maps []field.Map
	var under []*sunMap
	for k, p := range parts {
		none := k == 0 && (from.IsZero() || from.Equal(m.During.From)) || k == 2 && (until.IsZero() || until.Equal(m.During.Until))
		if !none {
			maps, under = append(maps, p), append(under, suns[k])
		}
	}
	b.maps = slices.Replace(b.maps, i, i+1, maps...)
	if sun != nil {
		b.suns = slices.Replace(b.suns, i, i+1, under...)
	}
}

// wipedMap is the map with the error of a wiped lamp.
func wipedMap(m field.Map) field.Map {
	m.RelativeError = slices.Clone(m.RelativeError)
	for p, e := range m.RelativeError {
		m.RelativeError[p] = math.Hypot(e, wipedError)
	}
	return m
}

// wiped is the map under the sun with the error of a wiped lamp.
func (s *sunMap) wiped() *sunMap {
	if s == nil {
		return nil
	}
	w := *s
	w.at = nil
	for _, m := range s.at {
		w.at = append(w.at, wipedMap(m))
	}
	return &w
}
