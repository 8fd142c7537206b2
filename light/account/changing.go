package account

import (
	"math"
	"slices"

	"parstead/light/field"
)

// changing is what the places without a sensor have in common on a light day whose
// map changes, with the hour of the day say: its cells' light where their map's ratio is
// 1 and without error. Its zero value knows no place.
type changing struct {
	whole tally  // of the day, of which only times are used
	known []bool // by place: whether all of its maps know it
	lit   []litCell
}

// litCell is the light of one of its maps.
type litCell struct {
	m      *field.Map
	mol    float64
	filled float64
	timer  float64
	errors shares // weighted by light
}

// changing sums up the cells of a day; nothing where one of them has no map.
func (b *bin) changing(first, end int) (day changing) {
	day.known = slices.Repeat([]bool{true}, b.Rows*b.Columns)
	for c := first; c < end; c++ {
		m := b.cells[c].m
		if m == nil {
			return changing{}
		}
		for p, ratio := range m.Ratio {
			day.known[p] = day.known[p] && !math.IsNaN(ratio)
		}
		var t tally
		b.tallyMapped(&t, c, &b.light[c], 1, 0)
		day.whole.merge(&t)
		if t.mol == 0 {
			continue
		}
		if last := len(day.lit) - 1; last < 0 || day.lit[last].m != m {
			day.lit = append(day.lit, litCell{m: m})
		}
		l := &day.lit[len(day.lit)-1]
		l.mol += t.mol
		l.filled += t.filledMol
		l.timer += t.bySource[FromTimer]
		l.errors.add(t.errors, 1)
	}
	return day
}

// put writes the figure of a place; false where not all of the day's maps know it,
// or on a day in the dark, whose error has no weights.
func (day *changing) put(p *place, f *Figure) bool {
	if len(day.lit) == 0 || !day.known[p.index] {
		return false
	}
	t := day.whole
	t.mol, t.filledMol, t.errors = 0, 0, shares{}
	t.bySource = [FromTimer + 1]float64{}
	for i := range day.lit {
		l := &day.lit[i]
		ratio := l.m.Ratio[p.index]
		t.mol += l.mol * ratio
		t.filledMol += l.filled * ratio
		t.bySource[FromTimer] += l.timer * ratio
		t.errors.add(l.errors, ratio)
		t.errors.survey += l.m.RelativeError[p.index] * l.mol * ratio
	}
	t.bySource[FromMap] = t.mol - t.bySource[FromTimer]
	*f = t.figure()
	return true
}
