package account

import (
	"cmp"
	"math"
	"slices"

	"parstead/light/dli"
	"parstead/light/field"
)

// placesAbove is, for one cell that a track covers from end to end, how many ns
// each place was above each level by that track: ns[level][place]. Nil where the
// track does not cover the cell.
type placesAbove [][]float64

// countAbove finds how long places were above the levels by track t: its own
// place, and those without a sensor, to which the light map brings it.
func (b *bin) countAbove(t *track, curve *dli.Curve, levels []float64) {
	if len(levels) == 0 {
		return
	}
	t.above = make([]placesAbove, len(b.cells))
	type query struct {
		place int
		level float64 // at the track's own place
	}
	var queries []query
	var ascending, ns []float64
	for c, cell := range b.cells {
		if t.lights[c].Covered != cell.until-cell.from {
			continue
		}
		t.above[c] = make(placesAbove, len(levels))
		for l, level := range levels {
			queries = queries[:0]
			for i, p := range b.places {
				switch {
				case p.Position == t.position:
					queries = append(queries, query{i, level})
				case p.own == nil:
					queries = append(queries, query{i, level * b.passage(p.index, t, cell.m)})
				}
			}
			slices.SortFunc(queries, func(a, b query) int { return cmp.Compare(a.level, b.level) })
			ascending, ns = ascending[:0], append(ns[:0], make([]float64, len(queries))...)
			for _, q := range queries {
				ascending = append(ascending, q.level)
			}
			curve.Above(ascending, cell.from, cell.until, ns)
			above := make([]float64, len(b.places))
			for i, q := range queries {
				above[q.place] = ns[i]
			}
			t.above[c][l] = above
		}
	}
}

// passage is what track t shows where a place gets 1: the light map's ratio at
// the track over that at the place, and 1 where the map does not know both.
func (b *bin) passage(index int, t *track, m *field.Map) float64 {
	if m == nil || math.IsNaN(m.Ratio[index]) {
		return 1
	}
	at := field.At(b.Bin, m.Ratio, t.position)
	if m.OwnScale || math.IsNaN(at) {
		at = 1
	}
	return at / m.Ratio[index]
}

// timeAbove is how many ns place i was above a level in cell c: by its own most
// precise sensor, else by the bin's; ok is false if none covers the cell.
func (b *bin) timeAbove(i, c, level int) (ns float64, ok bool) {
	best := 0.0
	for _, t := range b.tracks {
		concerned := b.places[i].own == nil || t.position == b.places[i].Position
		if concerned && t.above[c] != nil && t.weight > best {
			best = t.weight
			ns, ok = t.above[c][level][i], true
		}
	}
	return ns, ok
}
