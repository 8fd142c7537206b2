// Package ranking puts the levels of a treatment in order of their means, each
// against the highest.
package ranking

import (
	"cmp"
	"math"
	"slices"

	"parstead/correlate/analysis"
	"parstead/correlate/kind"
)

// Place is how a level stands to the highest.
type Place uint8

// The places.
const (
	Highest   Place = iota
	NotApart        // its interval holds no difference
	Alike           // its interval holds no difference that matters
	Behind          // below, and told as a claim or a lead
	Uncertain       // below by its own interval, but not among all that was asked
	Unknown         // not compared
)

// Level is one level, or a cell of two treatments.
type Level struct {
	Cell  analysis.Cell
	Group *analysis.Group
	Place Place
	Told  analysis.FindingKind // what its difference from the highest may be told as

	// Value and CI95 set the level against the highest: a difference, or a ratio where
	// the contrast is one. Absent for the highest, and where they are not known.
	Value *float64
	CI95  *analysis.Limits
	Pair  *analysis.Comparison // nil where there is none
}

// Mean is the adjusted mean, or the mean where there is none; nil without either.
func (l *Level) Mean() *float64 { return cmp.Or(l.Group.AdjustedMean, l.Group.Mean) }

// Ranking is the levels of a treatment, or the cells of two that depend on one
// another, from the highest mean down.
type Ranking struct {
	Term     analysis.Term
	Unit     string // what was replicated
	Contrast kind.Contrast
	Levels   []Level
	Pairs    []*analysis.Comparison // all that were compared
	Compared bool                   // whether any were
}

// Highest is the level with the highest mean.
func (r *Ranking) Highest() *Level { return &r.Levels[0] }

// In lists the levels of any of the places.
func (r *Ranking) In(places ...Place) []*Level {
	var list []*Level
	for i := range r.Levels {
		if slices.Contains(places, r.Levels[i].Place) {
			list = append(list, &r.Levels[i])
		}
	}
	return list
}

// Told tells whether any pair is told as the kind.
func (r *Ranking) Told(as analysis.FindingKind) bool {
	return slices.ContainsFunc(r.Pairs, func(c *analysis.Comparison) bool { return c.Standing.Told == as })
}

// Tells tells whether any level could be set against the highest.
func (r *Ranking) Tells() bool { return len(r.In(Unknown)) < len(r.Levels)-1 }

// All ranks every treatment of which two levels or more have a mean; those that are
// told to depend on one another by their cells, and not by themselves.
func All(in *analysis.Input, r *analysis.OutcomeResult) []Ranking {
	var list []Ranking
	dependent := map[int]bool{}
	for _, e := range r.Dependent() {
		dependent[e.Term.A], dependent[e.Term.B] = true, true
		if one, ok := Of(r, e.Term); ok {
			list = append(list, one)
		}
	}
	for i := range in.Treatments {
		if dependent[i] {
			continue
		}
		if one, ok := Of(r, analysis.TreatmentTerm(i)); ok {
			list = append(list, one)
		}
	}
	return list
}

// Of ranks the levels of a treatment or the cells of two; ok is false where fewer than
// two have a mean.
func Of(r *analysis.OutcomeResult, t analysis.Term) (Ranking, bool) {
	list := Ranking{Term: t, Contrast: kind.Compared(r.Kind, r.Scale)}
	for i := range r.Groups {
		g := &r.Groups[i]
		if l := (Level{Cell: g.Cell, Group: g, Place: Unknown}); holds(t, g.Cell) && l.Mean() != nil && !math.IsNaN(*l.Mean()) {
			list.Levels = append(list.Levels, l)
		}
	}
	if len(list.Levels) < 2 {
		return list, false
	}
	if e := analysis.Find(r.Effects, t); e != nil {
		list.Unit = e.Unit
	}
	for i := range r.Comparisons {
		if c := &r.Comparisons[i]; c.Term == t {
			list.Pairs = append(list.Pairs, c)
			list.Unit = c.Unit
		}
	}
	list.Compared = len(list.Pairs) > 0
	slices.SortStableFunc(list.Levels, func(a, b Level) int { return cmp.Compare(*b.Mean(), *a.Mean()) })
	for range list.Levels { // a model of answers may order levels otherwise than their raw shares do
		list.against(r)
		above := slices.IndexFunc(list.Levels, func(l Level) bool { return l.Value != nil && *l.Value > list.Contrast.None() })
		if above < 1 {
			break
		}
		first := list.Levels[above]
		list.Levels = slices.Insert(slices.Delete(list.Levels, above, above+1), 0, first)
	}
	return list, true
}

// holds tells whether a cell is one of the term's: of one treatment, or of two.
func holds(t analysis.Term, cell analysis.Cell) bool {
	_, a := cell.Level(t.A)
	if t.B == analysis.None {
		return a && len(cell) == 1
	}
	_, b := cell.Level(t.B)
	return a && b && len(cell) == 2
}

// against sets every level against the first.
func (r *Ranking) against(of *analysis.OutcomeResult) {
	first := &r.Levels[0]
	*first = Level{Cell: first.Cell, Group: first.Group, Place: Highest}
	for i := range r.Levels[1:] {
		l := &r.Levels[1+i]
		*l = Level{Cell: l.Cell, Group: l.Group, Place: Unknown}
		for _, c := range r.Pairs {
			switch {
			case c.CellA.Apart(l.Cell) == 0 && c.CellB.Apart(first.Cell) == 0:
				l.set(of, c, r.Contrast, false)
			case c.CellB.Apart(l.Cell) == 0 && c.CellA.Apart(first.Cell) == 0:
				l.set(of, c, r.Contrast, true)
			}
		}
	}
}

// set fills in a level's comparison with the highest, turned round where that is the
// first of the pair.
func (l *Level) set(of *analysis.OutcomeResult, c *analysis.Comparison, contrast kind.Contrast, turned bool) {
	read := Read(of, c)
	value, ci := read.Value(), read.Limits
	if turned {
		value, ci = Turned(contrast, value, ci)
	}
	l.Pair, l.Value, l.CI95, l.Told = c, value, ci, c.Standing.Told
	below := analysis.Smaller
	if turned {
		below = analysis.Larger
	}
	switch {
	case read.Verdict == analysis.Equivalent:
		l.Place = Alike
	case read.Verdict == analysis.CantTell && of.HardlyTells(c), read.Verdict != below && (c.P == nil || ci.Closed() != nil && (ci[0] > contrast.None() || ci[1] < contrast.None())):
		l.Place = Unknown // too few, or an interval over bins that all ways to deal them do not bear out
	case read.Verdict != below:
		l.Place = NotApart
	case l.Told == analysis.Claim || l.Told == analysis.Lead:
		l.Place = Behind
	default:
		l.Place = Uncertain
	}
}

// Turned is a contrast read from its other side.
func Turned(contrast kind.Contrast, value *float64, ci *analysis.Limits) (*float64, *analysis.Limits) {
	turn := func(x float64) float64 { return -x }
	if contrast != kind.Difference {
		turn = func(x float64) float64 {
			if math.IsInf(x, 0) {
				return -x // an open end stays one
			}
			return 1 / x
		}
	}
	if value != nil {
		value = analysis.Known(turn(*value))
	}
	if ci != nil {
		ci = analysis.KnownLimits([2]float64{turn(ci[1]), turn(ci[0])})
	}
	return value, ci
}
