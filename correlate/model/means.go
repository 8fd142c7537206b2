package model

import (
	"math"
	"slices"
	"strings"
)

// Family is a set of adjusted means that are compared with one another: the
// levels of a treatment, or the cells of two.
type Family struct {
	Term        // the treatment, or the two of cells
	Unit   Unit // what is replicated
	Cells  [][]At
	Within int // a pair lies within one level of the cells' first Within factors
}

// Families lists what is compared: the levels of each plant treatment, then the
// cells of each two-way interaction, in stated order and the first slowest.
// Cells of an interaction with a treatment that bins hold are compared only
// within a level of that treatment, where the plants are the replicates.
func (d *Design) Families() []Family {
	var families []Family
	for i, t := range d.treatments {
		if d.units[i] == PerPlant {
			families = append(families, Family{Term: Term{Kind: KindTreatment, A: d.Factors[t].Name}, Unit: PerPlant, Cells: d.cells(t)})
		}
	}
	for _, e := range d.Effects {
		if e.Kind != KindInteraction {
			continue
		}
		factors := slices.Clone(e.Factors)
		within := 0
		if at := slices.IndexFunc(factors, func(f int) bool { return slices.Contains(d.nested, f) }); at >= 0 {
			factors[0], factors[at] = factors[at], factors[0]
			within = 1
		}
		families = append(families, Family{Term: e.Term, Unit: PerPlant, Cells: d.cells(factors...), Within: within})
	}
	return families
}

// cells lists the combinations of the factors' levels, the first slowest.
func (d *Design) cells(factors ...int) [][]At {
	cells := [][]At{nil}
	for _, f := range factors {
		var next [][]At
		for _, c := range cells {
			for l := range d.Factors[f].Levels {
				next = append(next, append(slices.Clone(c), At{f, l}))
			}
		}
		cells = next
	}
	return cells
}

// Levels names the levels of a cell: "coir", "a, b".
func (d *Design) Levels(cell []At) string {
	names := make([]string, len(cell))
	for i, at := range cell {
		names[i] = d.Factors[at.Factor].Levels[at.Level]
	}
	return strings.Join(names, ", ")
}

// Rows lists the rows in a cell.
func (d *Design) Rows(cell []At) []int {
	var rows []int
	for i := range d.N {
		if !slices.ContainsFunc(cell, func(at At) bool { return d.Factors[at.Factor].Of[i] != at.Level }) {
			rows = append(rows, i)
		}
	}
	return rows
}

// MeanSD is the mean and the standard deviation with n − 1; the latter is NaN
// for a single value, and both are for none.
func MeanSD(x []float64) (m, sd float64) {
	if len(x) == 0 {
		return math.NaN(), math.NaN()
	}
	m = mean(x)
	if len(x) == 1 {
		return m, math.NaN()
	}
	var ss float64
	for _, v := range x {
		ss += (v - m) * (v - m)
	}
	return m, math.Sqrt(ss / float64(len(x)-1))
}
