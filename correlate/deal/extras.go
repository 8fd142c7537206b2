package deal

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
)

// extras chooses, for rows of sizes[i] each, which of k cells every row gets:
// sizes[i] different cells (fewer than k), the number of rows that hold a cell
// differing by at most one between any two cells. Every such choice is equally
// likely.
//
// The number of ways to fill the remaining rows depends only on how many places
// each cell still has to fill, whatever the cells' order, so it is counted once
// for each sorted tally and rows are drawn in proportion to what they leave open.
type extras struct {
	k     int
	sizes []int
	ways  map[string]float64
}

func newExtras(k int, sizes []int) *extras {
	for _, s := range sizes {
		if s < 0 || s >= k {
			panic("deal: a row of extras must hold fewer than all cells")
		}
	}
	return &extras{k: k, sizes: sizes, ways: map[string]float64{}}
}

// draw returns the cells of each row, in random order within a row.
func (e *extras) draw(rng *rand.Rand) [][]int {
	total := 0
	for _, s := range e.sizes {
		total += s
	}
	left := make([]int, e.k)
	for cell, i := range rng.Perm(e.k) {
		left[cell] = total / e.k
		if i < total%e.k {
			left[cell]++
		}
	}
	return e.fill(rng, left)
}

// fill draws the rows for cells that must be used left[cell] times each.
func (e *extras) fill(rng *rand.Rand, left []int) [][]int {
	rows := make([][]int, len(e.sizes))
	left = slices.Clone(left)
	for i := range e.sizes {
		need := e.sizes[i]
		// A row is drawn cell by cell: taken with the share of completions that
		// take it.
		tally := slices.Clone(left)
		for cell := range left {
			if need == 0 {
				break
			}
			if left[cell] == 0 {
				continue
			}
			tally[cell]--
			with := e.completions(i, tally, cell+1, need-1)
			tally[cell]++
			without := e.completions(i, tally, cell+1, need)
			if rng.Float64()*(with+without) < with {
				tally[cell]--
				need--
				rows[i] = append(rows[i], cell)
			}
		}
		left = tally
		rng.Shuffle(len(rows[i]), func(a, b int) { rows[i][a], rows[i][b] = rows[i][b], rows[i][a] })
	}
	return rows
}

// completions counts the ways to finish row i with need more cells out of those
// from cell on, and then the later rows.
func (e *extras) completions(i int, tally []int, from, need int) float64 {
	if len(tally)-from < need {
		return 0
	}
	if need == 0 {
		return e.count(i+1, tally)
	}
	done := slices.Clone(tally[:from])
	open := slices.Clone(tally[from:])
	slices.Sort(done)
	slices.Sort(open)
	key := fmt.Sprint(i, need, done, open)
	if n, ok := e.ways[key]; ok {
		return n
	}
	n := e.choose(i, tally, from, need)
	e.ways[key] = n
	return n
}

func (e *extras) choose(i int, tally []int, from, need int) float64 {
	if from == len(tally) {
		return 0
	}
	n := e.completions(i, tally, from+1, need)
	if tally[from] > 0 {
		tally[from]--
		n += e.completions(i, tally, from+1, need-1)
		tally[from]++
	}
	return n
}

// count is the number of ways to fill the rows from row i on.
func (e *extras) count(i int, left []int) float64 {
	if i == len(e.sizes) {
		for _, n := range left {
			if n != 0 {
				return 0
			}
		}
		return 1
	}
	sorted := slices.Clone(left)
	slices.Sort(sorted)
	if sorted[0] < 0 || sorted[len(sorted)-1] > len(e.sizes)-i {
		return 0
	}
	key := strings.Join([]string{fmt.Sprint(i), fmt.Sprint(sorted)}, " ")
	if n, ok := e.ways[key]; ok {
		return n
	}
	n := e.completions(i, sorted, 0, e.sizes[i])
	e.ways[key] = n
	return n
}
