package model

import (
	"encoding/binary"
	"math"
)

// LackOfFit tests whether the model misses a pattern, by rows that are alike in
// every column: their spread about their own means is pure error.
//
//	F = [(RSS − SSₚ) / (m − p)] / [SSₚ / (n − m)]
//
// with m distinct rows. OK is false where no rows are alike, or where there are
// no more kinds of row than coefficients.
func (f *Fit) LackOfFit() Test {
	var t Test
	if f.Exact {
		return t
	}
	groups := grouped(f.Y, f.Design.alike())
	var pure float64
	for _, g := range groups {
		m := mean(g)
		for _, y := range g {
			pure += (y - m) * (y - m)
		}
	}
	m := len(groups)
	t.DF = [2]float64{float64(m - len(f.Beta)), float64(f.Design.N - m)}
	if t.DF[0] < 1 || t.DF[1] < 1 || pure <= exactLimit*exactLimit*f.RSS {
		return t
	}
	t.f(max(0, f.RSS-pure) / t.DF[0] / (pure / t.DF[1]))
	return t
}

// alike numbers the rows so that rows with the same columns have the same number.
func (d *Design) alike() []int {
	number := make([]int, d.N)
	seen := map[string]int{}
	key := make([]byte, 0, 8*len(d.Columns))
	for i := range number {
		key = key[:0]
		for _, c := range d.Columns {
			key = binary.LittleEndian.AppendUint64(key, math.Float64bits(c.Values[i]+0)) // −0 is 0
		}
		k, ok := seen[string(key)]
		if !ok {
			k = len(seen)
			seen[string(key)] = k
		}
		number[i] = k
	}
	return number
}
