package model

import (
	"errors"
	"math"
	"slices"

	"parstead/correlate/dist"
)

// bent is the fit of a shape with a K, with what its profile needs.
//
// The base's columns are taken out of outcome and shape once for each K:
// with base = Q₀R₀, y = Q₀z₀ + y⊥ and g(K) = Q₀c + g⊥,
//
//	b̂(K) = y⊥·g⊥/|g⊥|²,  RSS(K) = |y⊥ − b̂ g⊥|²
type bent struct {
	terms  *curveTerms
	shape  Shape
	scaled bool // b is estimated; else it is one
	base   *basis
	z0     []float64
	rest   []float64 // y⊥

	g, by    []float64 // memory of at
	k        float64
	line     *line  // at k; of y − g where b is one
	jacobian *basis // of all columns and ∂/∂K, at k

	low, high     float64 // the ends of K's interval in ln K, or the bounds
	lowOK, highOK bool
	nodes         []node // over that interval
}

// node is the linear fit at one K.
type node struct {
	lnK   float64
	c     []float64
	size  float64 // |g⊥|
	along float64 // y⊥·g⊥/|g⊥|
	b     float64
	rss   float64
	slope float64 // ½ d RSS / d ln K
}

const curveGrid = 64

// bend finds K. Its error says why there is none.
func (c *curveTerms) bend(s Shape) (*bent, error) {
	n := len(c.y)
	f := &bent{terms: c, shape: s, scaled: !c.log, base: &basis{}, rest: slices.Clone(c.y), g: make([]float64, n), by: make([]float64, n)}
	if len(c.columns) > 0 {
		var err error
		if f.base, err = newBasis(c.columns, c.centre); err != nil {
			return nil, ErrFewLights
		}
	}
	f.z0 = make([]float64, len(f.base.q))
	f.base.project(f.rest, f.z0)

	lo, hi := s.bounds(c.light)
	if !(lo < hi) || math.IsInf(lo, 0) || math.IsInf(hi, 0) {
		return nil, ErrFewLights
	}
	step := (hi - lo) / curveGrid
	best, least := 0, math.Inf(1)
	for i := range curveGrid + 1 {
		if rss := f.at(lo + float64(i)*step).rss; rss < least {
			best, least = i, rss
		}
	}
	// The best of the grid lies beside a point where the derivative turns from
	// falling to rising; at a bound there is none.
	from, to := f.at(lo+float64(max(0, best-1))*step), f.at(lo+float64(min(curveGrid, best+1))*step)
	if !(from.slope < 0 && to.slope > 0) {
		switch {
		case f.flat(from, to):
			return nil, ErrFewLights
		case best >= curveGrid-1:
			return nil, ErrNoBend
		case best <= 1:
			return nil, ErrSaturated
		}
		return nil, errors.New("no single best bend was found: the outcome follows light too loosely")
	}
	lnK := dist.Root(func(x float64) float64 { return f.at(x).slope }, from.lnK, from.slope, to.lnK, to.slope, 1e-13)
	f.k = math.Exp(lnK)
	return f, f.settle()
}

// flat tells whether the fit does not depend on K: too few different values of
// light, or none beside the other terms.
func (f *bent) flat(a, b node) bool {
	if a.size == 0 && b.size == 0 {
		return true
	}
	return math.Abs(a.rss-b.rss) <= 1e-12*dot(f.rest, f.rest) && f.terms.distinct() < 4
}

// distinct counts the values of light, up to four.
func (c *curveTerms) distinct() int {
	seen := map[float64]bool{}
	for _, l := range c.light {
		if seen[l] = true; len(seen) == 4 {
			break
		}
	}
	return len(seen)
}

// at is the linear fit at ln K.
func (f *bent) at(lnK float64) node {
	g, by := f.g, f.by
	f.shape.curve(g, by, f.terms.light, math.Exp(lnK), f.terms.log)
	full := norm(g)
	v := node{lnK: lnK, c: make([]float64, len(f.base.q)), b: 1}
	f.base.project(g, v.c)
	v.size = norm(g)
	if v.size <= rankLimit*full {
		v.size, v.b, v.rss = 0, 0, dot(f.rest, f.rest) // nothing of the shape is left
		return v
	}
	v.along = dot(f.rest, g) / v.size
	if f.scaled {
		v.b = v.along / v.size
	}
	for i, y := range f.rest {
		e := y - v.b*g[i]
		v.rss += e * e
		v.slope -= e * v.b * by[i]
	}
	return v
}

// settle fits all at K̂ and finds K's interval.
func (f *bent) settle() error {
	c := f.terms
	n := len(c.y)
	g, by := make([]float64, n), make([]float64, n)
	f.shape.curve(g, by, c.light, f.k, c.log)
	b := 1.0
	y, extra := c.y, [][]float64{g}
	if f.scaled {
		b = f.at(math.Log(f.k)).b
	} else {
		y, extra = slices.Clone(c.y), nil
		for i := range y {
			y[i] -= g[i]
		}
	}
	for i := range by {
		by[i] *= b / f.k
	}
	var err error
	if f.jacobian, err = newBasis(slices.Concat(c.columns, extra, [][]float64{by}), c.centre); err != nil {
		return ErrFewLights
	}
	if len(c.columns)+len(extra) == 0 {
		f.line = &line{basis: &basis{}, left: y, rss: dot(y, y)}
	} else if f.line, err = c.straight(y, extra); err != nil {
		return err
	}
	if f.line.rss <= c.exact {
		return nil
	}
	df := float64(n - len(c.columns) - f.shape.parameters(c.log))
	t := tQuantile(0.05, df)
	s2 := f.line.rss / df
	reach := t * t * s2
	width := t * math.Sqrt(s2) * norm(f.jacobian.solveT(append(make([]float64, len(f.jacobian.q)-1), 1))) / f.k
	lo, hi := f.shape.bounds(c.light)
	if width = max(width, (hi-lo)/mostSteps); !(width <= largest) {
		return errFarApart
	}
	f.low, f.lowOK = f.end(lo, -width, reach)
	f.high, f.highOK = f.end(hi, width, reach)
	f.spread()
	return nil
}

// mostSteps bounds the walk from K̂ to a bound.
const mostSteps = 1000

var errFarApart = errors.New("the bend cannot be measured: light and outcome lie too many powers of ten apart")

// end walks from K̂ towards the bound in steps of width and finds where RSS has
// risen by reach; ok is false where it has not at the bound.
func (f *bent) end(bound, width, reach float64) (lnK float64, ok bool) {
	rise := func(x float64) float64 { return f.at(x).rss - f.line.rss - reach }
	x, fx := math.Log(f.k), -reach
	for {
		next := x + width
		if last := (next-bound)*width >= 0; last {
			next = bound
		}
		value := rise(next)
		if value >= 0 {
			return dist.Root(rise, x, fx, next, value, 1e-12), true
		}
		if next == bound {
			return bound, false
		}
		x, fx = next, value
	}
}

// parameter is K.
func (f *bent) parameter(c *Curve) Parameter {
	p := Parameter{Name: "K", Estimate: f.k}
	if c.RSS == 0 {
		p.Why = "no spread is left to measure by"
		return p
	}
	w := make([]float64, len(f.jacobian.q))
	w[len(w)-1] = 1
	p.SE, p.SEOK = math.Sqrt(c.RSS/float64(c.DF))*norm(f.jacobian.solveT(w)), true
	if p.Why = f.open(); p.Why == "" {
		p.CI95, p.CIOK = [2]float64{math.Exp(f.low), math.Exp(f.high)}, true
	}
	return p
}

// open says why K's interval has no end on a side, "" where it has both.
func (f *bent) open() string {
	switch {
	case !f.highOK:
		return "the data do not bound K from above: the curve may be as good as straight over the measured light"
	case !f.lowOK:
		return "the data do not bound K from below: the curve may have levelled off before the least measured light"
	}
	return ""
}

const curveNodes = 64

// spread lays nodes over K's interval, ln K = middle + half·sin θ: in θ the
// half-width √(reach − rise) of what is linear is smooth up to the ends.
func (f *bent) spread() {
	f.nodes = make([]node, curveNodes+1)
	for i := range f.nodes {
		f.nodes[i] = f.at(f.lnK(theta(float64(i))))
	}
}

func theta(i float64) float64 { return math.Pi * (i/curveNodes - 0.5) }

func (f *bent) lnK(theta float64) float64 {
	return (f.low+f.high)/2 + (f.high-f.low)/2*math.Sin(theta)
}

// interval is that of wᵀβ over the base's columns and b.
func (f *bent) interval(w []float64, reach float64) [2]float64 {
	p := len(f.base.q)
	return f.ends(w[:p], func(node) float64 {
		if f.scaled {
			return w[p]
		}
		return 0
	}, reach)
}

// band is the interval of the adjusted mean at a light.
func (f *bent) band(light, reach float64) [2]float64 {
	g := make([]float64, 1)
	return f.ends(f.terms.average, func(v node) float64 {
		f.shape.curve(g, nil, []float64{light}, math.Exp(v.lnK), f.terms.log)
		return g[0]
	}, reach)
}

// ends are those of the profile interval of w₀ᵀβ₀ + w b. Given K it is linear,
// with the estimate P(K) and the variance factor v(K), and RSS rises by
// (P − value)²/v above RSS(K). The ends are the extremes over K of
//
//	P(K) ± √{v(K) [reach − RSS(K) + RSS]}
func (f *bent) ends(w0 []float64, weight func(node) float64, reach float64) [2]float64 {
	g0 := f.base.solveT(w0)
	fixed := dot(g0, f.z0)
	v0 := dot(g0, g0)
	value := func(v node, sign float64) float64 {
		w := weight(v)
		estimate, variance := fixed, v0
		switch {
		case !f.scaled:
			estimate += w - dot(g0, v.c)
		case v.size > 0:
			last := (w - dot(g0, v.c)) / v.size
			estimate += last * v.along
			variance += last * last
		}
		return sign*estimate + math.Sqrt(variance*math.Max(0, reach-v.rss+f.line.rss))
	}
	var ends [2]float64
	for side, sign := range []float64{-1, 1} {
		best, most := 0, math.Inf(-1)
		for i, v := range f.nodes {
			if m := value(v, sign); m > most {
				best, most = i, m
			}
		}
		if best > 0 && best < curveNodes {
			at := func(i float64) float64 { return value(f.at(f.lnK(theta(i))), sign) }
			x := float64(best)
			most = vertex(at, [3]float64{x - 1, x, x + 1}, [3]float64{value(f.nodes[best-1], sign), most, value(f.nodes[best+1], sign)})
		}
		ends[side] = sign * most
	}
	return ends
}

// vertex looks for the largest value of f, which is bracketed by three points,
// by parabolas through the best three.
func vertex(f func(float64) float64, x, y [3]float64) float64 {
	for range 8 {
		d1, d2 := x[1]-x[0], x[2]-x[1]
		s1, s2 := (y[1]-y[0])/d1, (y[2]-y[1])/d2
		if !(s1 > s2) {
			break
		}
		top := (x[0]+x[1])/2 + s1*(d1+d2)/2/(s1-s2)
		if !(top > x[0] && top < x[2]) || math.Abs(top-x[1]) < 1e-7 {
			break
		}
		value := f(top)
		switch {
		case value >= y[1] && top > x[1]:
			x[0], y[0], x[1], y[1] = x[1], y[1], top, value
		case value >= y[1]:
			x[2], y[2], x[1], y[1] = x[1], y[1], top, value
		case top > x[1]:
			x[2], y[2] = top, value
		default:
			x[0], y[0] = top, value
		}
	}
	return y[1]
}
