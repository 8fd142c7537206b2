package field

import "math"

// negligible is the logarithm of the weight, over the largest, from which what is
// known of a kernel with its ratio of noise to spread adds nothing: 1 part in
// 20,000.
const negligible = -10

// node is one noise, spread and fall-off with its weight's logarithm.
type node struct{ log, noise, spread, fall, logSpread float64 }

// total adds up nodes by their weights, over the heaviest.
type total struct{ one, fall, fall2, spread2, noise, spread float64 }

func addUp(nodes []node, top float64) (t total) {
	for _, nd := range nodes {
		w := math.Exp(nd.log - top)
		t.one += w
		t.fall += w * nd.fall
		t.fall2 += w * nd.fall * nd.fall
		t.spread2 += w * nd.spread * nd.spread
		t.noise += w * nd.noise
		t.spread += w * nd.spread
	}
	return t
}

// posterior is what is known of the logarithm of the light at each place, and of
// the walk.
type posterior struct {
	mean, sd []float64
	noise    float64    // of one reading
	spread   float64    // of the light over the places
	evidence float64    // logarithm of the walk's density, up to a constant
	means    []expected // by mean of readings
	readings []expected // by reading
}

// expected is a value against what all the others expect of it.
type expected struct{ off, sd float64 }

// mixture adds up means and squares of places.
type mixture struct {
	weight, noise, spread float64
	mean, square          []float64
}

// add counts a place whose mean is m0 + fall·m1 and whose variance is spread²·v.
func (m *mixture) add(place int, t *total, m0, m1, v float64) {
	m.mean[place] += t.one*m0 + t.fall*m1
	m.square[place] += t.one*m0*m0 + 2*t.fall*m0*m1 + t.fall2*m1*m1 + t.spread2*v
}

func (m *mixture) posterior() *posterior {
	p := &posterior{noise: m.noise / m.weight, spread: m.spread / m.weight, mean: m.mean, sd: m.square}
	for i := range p.mean {
		p.mean[i] /= m.weight
		p.sd[i] = math.Sqrt(max(0, m.square[i]/m.weight-p.mean[i]*p.mean[i]))
	}
	return p
}

// leftOut adds up what others expect of one value. Weights here may grow beyond
// any seen before: what fits a slip badly fits all else best.
type leftOut struct{ top, all, off, square float64 }

// add counts the nodes, whose expectation is off by e0 − fall·e1 with a variance
// of spread²/p. A node's weight without a value is its weight over the density
// that it gave to that value.
func (l *leftOut) add(nodes []node, e0, e1, p float64) {
	root := math.Log(p) / 2
	for _, nd := range nodes {
		e, v := e0-nd.fall*e1, nd.spread*nd.spread/p
		log := nd.log + e*e/(2*v) + nd.logSpread - root
		if log < l.top+negligible {
			continue
		}
		if log > l.top {
			f := math.Exp(l.top - log)
			l.all, l.off, l.square, l.top = l.all*f, l.off*f, l.square*f, log
		}
		w := math.Exp(log - l.top)
		l.all += w
		l.off += w * e
		l.square += w * (e*e + v)
	}
}

func (l *leftOut) expected() expected {
	if l.all == 0 {
		return expected{0, math.Inf(1)} // nothing else speaks of it
	}
	off := l.off / l.all
	return expected{off, math.Sqrt(max(0, l.square/l.all-off*off))}
}
