// Package power tells how many replicates a trial needs to show a difference of
// a given size with a given power, and what the replicates that there are would
// show: means by the non-central F, counts by simulation, yes/no answers exactly.
//
// Power is always that for a difference which is asked about, never for one that
// a trial happened to observe: that says nothing which its p value did not.
package power

import (
	"errors"
	"sort"
)

// Level is the level of all tests.
const Level = 0.05

// ErrOutOfReach is returned where more replicates would be needed than any trial has.
var ErrOutOfReach = errors.New("out of reach of any trial")

// fewest is the smallest n from least to most with reached(n) true, where it
// stays true once it is.
func fewest(least, most int, reached func(n int) bool) (int, error) {
	high := least
	for !reached(high) {
		if high >= most {
			return 0, ErrOutOfReach
		}
		least, high = high+1, min(2*high, most)
	}
	return least + sort.Search(high-least, func(i int) bool { return reached(least + i) }), nil
}
