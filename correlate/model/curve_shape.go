package model

import "math"

// bent tells whether the shape has a K.
func (s Shape) bent() bool { return s == Hyperbola || s == Exponential }

// parameters counts those of the shape.
func (s Shape) parameters(log bool) int {
	switch {
	case s == Quadratic, s.bent() && !log:
		return 2
	default:
		return 1
	}
}

// columns are the shape's columns at given light and K. On a log scale a bent
// shape's column has the coefficient one.
func (s Shape) columns(light []float64, k float64, log bool) [][]float64 {
	x := make([]float64, len(light))
	switch {
	case s.bent():
		s.curve(x, nil, light, k, log)
	case s == Straight && log:
		for i, l := range light {
			x[i] = math.Log(l)
		}
	default:
		copy(x, light)
	}
	if s != Quadratic {
		return [][]float64{x}
	}
	square := make([]float64, len(light))
	for i, l := range light {
		square[i] = l * l
	}
	return [][]float64{x, square}
}

// curve sets g to a bent shape's values and, unless nil, slope to their
// derivatives by ln K.
func (s Shape) curve(g, slope, light []float64, k float64, log bool) {
	for i, l := range light {
		var value, by float64
		switch {
		case s == Hyperbola && !log:
			value = l / (k + l)
			by = -value * k / (k + l)
		case s == Hyperbola:
			value = -math.Log1p(k / l)
			by = -k / (k + l)
		case !log:
			x := l / k
			value = -math.Expm1(-x)
			by = -x * math.Exp(-x)
		default:
			x := l / k
			value = math.Log(-math.Expm1(-x))
			by = -x / math.Expm1(x)
		}
		g[i] = value
		if slope != nil {
			slope[i] = by
		}
	}
}

// bounds of ln K: beyond the upper one the shape is straight to 1e-3, beyond
// the lower one it is flat from the least light on.
func (s Shape) bounds(light []float64) (lo, hi float64) {
	least, most := math.Inf(1), 0.0
	for _, l := range light {
		if l > 0 {
			least = min(least, l)
		}
		most = max(most, l)
	}
	if s == Exponential {
		return math.Log(least / 20), math.Log(most * 1e3)
	}
	return math.Log(least / 1e3), math.Log(most * 1e3)
}
