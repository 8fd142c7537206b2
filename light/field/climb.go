package field

import "math"

// point is a place in the plane that is searched.
type point [2]float64

// The compass search's first step from a coarse grid, and its last, within which
// a parabola finds the top. Parameters are logarithms. A ridge without an end is
// followed for so many tries only.
const (
	firstStep = 0.8
	lastStep  = 0.4
	mostTries = 60
)

// climb finds a maximum of f from the best of the starts by compass search: a
// step along either axis while one leads up, else half the step. The last step's
// neighbours then show a parabola, whose vertex is taken if it lies higher. f is
// −∞ out of bounds.
func climb(f func(point) float64, starts []point, step float64) (top point, value float64) {
	value = math.Inf(-1)
	for _, x := range starts {
		if v := f(x); v > value {
			top, value = x, v
		}
	}
	type node [2]int // in last steps from the best start
	origin, here, known := top, node{}, map[node]float64{{}: value}
	at := func(n node) point {
		return point{origin[0] + lastStep*float64(n[0]), origin[1] + lastStep*float64(n[1])}
	}
	see := func(n node) float64 {
		v, ok := known[n]
		if !ok {
			if v = math.Inf(-1); len(known) < mostTries {
				v = f(at(n))
			}
			known[n] = v
		}
		return v
	}
	for far := int(math.Round(step / lastStep)); far > 0; far /= 2 {
		for moved := true; moved; {
			moved = false
			for _, way := range [...]node{{far, 0}, {-far, 0}, {0, far}, {0, -far}} {
				if next := (node{here[0] + way[0], here[1] + way[1]}); see(next) > known[here] {
					here, moved = next, true
				}
			}
		}
	}
	top, value = at(here), known[here]
	side := func(i, j int) float64 { return see(node{here[0] + i, here[1] + j}) }
	if x, ok := vertex(side, value); ok {
		x = point{top[0] + lastStep*x[0], top[1] + lastStep*x[1]}
		if v := f(x); v > value {
			return x, v
		}
	}
	return top, value
}

// vertex is where the parabola through a maximum on a grid and five of its
// neighbours has its top, in steps from it.
func vertex(side func(i, j int) float64, middle float64) (x point, ok bool) {
	east, west, north, south := side(1, 0), side(-1, 0), side(0, 1), side(0, -1)
	g0, g1 := (east-west)/2, (north-south)/2
	h00, h11 := east+west-2*middle, north+south-2*middle
	i, j, near0, near1 := 1, 1, east, north // the corner towards the top
	if g0 < 0 {
		i, near0 = -1, west
	}
	if g1 < 0 {
		j, near1 = -1, south
	}
	h01 := float64(i*j) * (side(i, j) - near0 - near1 + middle)
	det := h00*h11 - h01*h01
	x = point{(h01*g1 - h11*g0) / det, (h01*g0 - h00*g1) / det}
	return x, h00 < 0 && det > 0 && math.Abs(x[0]) <= 1 && math.Abs(x[1]) <= 1
}
