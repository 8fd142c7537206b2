package field

import "math"

// point is a place in the plane that is searched.
type point [2]float64

// bounds are a rectangle of that plane.
type bounds struct{ low, high point }

func (b bounds) hold(x point) bool {
	return x[0] >= b.low[0] && x[0] <= b.high[0] && x[1] >= b.low[1] && x[1] <= b.high[1]
}

// The compass search's first step from a coarse grid, and the least it goes on
// with. Parameters are logarithms: a likelihood hardly changes over a tenth.
// A ridge without an end is followed for so many tries only.
const (
	firstStep = 0.8
	lastStep  = 0.1
	mostTries = 60
)

// climb finds a maximum of f from the best of the starts by compass search: a
// step along either axis while one leads up, else half the step.
func climb(f func(point) float64, starts []point, step float64, b bounds) (top point, value float64) {
	value = math.Inf(-1)
	tries := 0
	try := func(x point) bool {
		if !b.hold(x) || tries >= mostTries {
			return false
		}
		tries++
		v := f(x)
		if v > value {
			top, value = x, v
			return true
		}
		return false
	}
	for _, x := range starts {
		try(x)
	}
	for ; step >= lastStep; step /= 2 {
		for moved := true; moved; {
			moved = false
			for axis := range top {
				for _, way := range [...]float64{step, -step} {
					x := top
					x[axis] += way
					if try(x) {
						moved = true
						break
					}
				}
			}
		}
	}
	return top, value
}
