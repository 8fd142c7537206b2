//go:build worlds

package worlds

import (
	"math"
	"math/rand/v2"
)

// Change tells the judge what a slip did. Touched are indices of readings;
// Was holds those readings as they were before.
type Change struct {
	Name    string
	Applied bool // false: this slip cannot happen in this walk
	Touched []int
	Was     []Reading
	Note    string
}

// Slip spoils a clean walk. The clean one is never altered.
type Slip struct {
	Name string
	Do   func(w Walk, g *rand.Rand) (Walk, Change)
}

// Slips lists all of them, in a fixed order.
func Slips() []Slip {
	list := []struct {
		name string
		do   func(w *Walk, g *rand.Rand)
	}{
		{"one value ×10", func(w *Walk, g *rand.Rand) { scaleSome(w, g, 10) }},
		{"one value ÷10", func(w *Walk, g *rand.Rand) { scaleSome(w, g, 0.1) }},
		{"two rows swapped", swapRows},
		{"row shifted by one", shiftRow},
		{"two columns swapped", swapColumns},
		{"place skipped", skipPlace},
		{"wrong corner", wrongCorner},
		{"lamp off for a part", lampOff},
		{"lamp still warming", lampWarming},
		{"lux written as ppfd", luxAsPPFD},
		{"lux as ppfd in a part", luxInPart},
		{"date in the future", futureDate},
		{"day and month swapped", dayMonth},
		{"clock outside light hours", clockOutside},
		{"read in the dark", readInDark},
		{"cap on", capOn},
		{"ceiling of the meter", ceiling},
		{"own shadow", ownShadow},
		{"meter at another height", otherHeight},
		{"repeated digit", repeatedDigit},
		{"digits turned round", turnedDigits},
		{"decimal comma lost", commaLost},
		{"hold button", holdButton},
	}
	out := make([]Slip, len(list))
	for i, l := range list {
		out[i] = Slip{l.name, func(clean Walk, g *rand.Rand) (Walk, Change) {
			return noteChange(l.name, clean, l.do, g)
		}}
	}
	return out
}

// SlipNamed finds one.
func SlipNamed(name string) (Slip, bool) {
	for _, s := range Slips() {
		if s.Name == name {
			return s, true
		}
	}
	return Slip{}, false
}

// noteChange runs a slip on a copy and then compares, so that the record is
// what did change and not what was meant to: rounding can make a slip vanish.
func noteChange(name string, clean Walk, do func(*Walk, *rand.Rand), g *rand.Rand) (Walk, Change) {
	w := clean.clone()
	do(&w, g)
	c := Change{Name: name}
	for i := range w.Readings {
		if w.Readings[i] != clean.Readings[i] {
			c.Touched = append(c.Touched, i)
			c.Was = append(c.Was, clean.Readings[i])
		}
	}
	c.Applied = len(c.Touched) > 0
	if !c.Applied {
		c.Note = "cannot happen in this walk, or changed nothing"
	}
	return w, c
}

// part picks a run of readings: a beginning and how many.
func part(g *rand.Rand, n int, lo, hi float64) []int {
	k := clampInt(int(math.Round(span(g, lo, hi)*float64(n))), 1, n)
	from := g.IntN(n - k + 1)
	out := make([]int, k)
	for i := range out {
		out[i] = from + i
	}
	return out
}

func scaleSome(w *Walk, g *rand.Rand, by float64) {
	i := g.IntN(len(w.Readings))
	w.Readings[i].Value = roundTo(w.Readings[i].Value*by, 3)
}

// firstRound gives the readings of one session's first pass over the bin, as
// an index by place.
func firstRound(w *Walk, g *rand.Rand) map[[2]int]int {
	sessions := w.Hidden[len(w.Hidden)-1].Session + 1
	s := g.IntN(sessions)
	at := map[[2]int]int{}
	for i, r := range w.Readings {
		p := [2]int{r.Row, r.Col}
		if _, seen := at[p]; w.Hidden[i].Session == s && !seen {
			at[p] = i
		}
	}
	return at
}

func swapValues(w *Walk, i, j int) {
	w.Readings[i].Value, w.Readings[j].Value = w.Readings[j].Value, w.Readings[i].Value
}

// swapRows writes two neighbouring rows' values into each other's lines.
func swapRows(w *Walk, g *rand.Rand) { swapLines(w, g, 0) }

// swapColumns is the same for columns.
func swapColumns(w *Walk, g *rand.Rand) { swapLines(w, g, 1) }

func swapLines(w *Walk, g *rand.Rand, axis int) {
	at := firstRound(w, g)
	rows, cols := w.world.Size()
	n := []int{rows, cols}
	if n[axis] < 2 {
		return
	}
	// A pair must be walked to be swapped, so look on from a random line.
	first := g.IntN(n[axis] - 1)
	for try := range n[axis] - 1 {
		line := (first + try) % (n[axis] - 1)
		done := false
		for k := range n[1-axis] {
			a, b := [2]int{line, k}, [2]int{line + 1, k}
			if axis == 1 {
				a, b = [2]int{k, line}, [2]int{k, line + 1}
			}
			i, ok := at[a]
			j, ok2 := at[b]
			if ok && ok2 {
				swapValues(w, i, j)
				done = true
			}
		}
		if done {
			return
		}
	}
}

// shiftRow moves a row's values along by one; the odd one out goes to the
// other end or is written twice.
func shiftRow(w *Walk, g *rand.Rand) {
	at := firstRound(w, g)
	rows, cols := w.world.Size()
	var line []int
	first := g.IntN(rows)
	for try := 0; try < rows && len(line) < 2; try++ {
		line = nil
		for c := range cols {
			if i, ok := at[[2]int{(first + try) % rows, c}]; ok {
				line = append(line, i)
			}
		}
	}
	if len(line) < 2 {
		return
	}
	wrap := w.Readings[line[len(line)-1]].Value
	if either(g, 0.5) {
		wrap = w.Readings[line[0]].Value
	}
	for k := len(line) - 1; k > 0; k-- {
		w.Readings[line[k]].Value = w.Readings[line[k-1]].Value
	}
	w.Readings[line[0]].Value = wrap
}
