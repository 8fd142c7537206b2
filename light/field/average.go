package field

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
)

// average gives what a walk shows of a bin's light against the anchors, the
// weights of the bin's sensors over its places, summing to 1; nil: on the
// meters' own scale. The logarithm of the light over the bin's mean is taken as
//
//	x = A σ b + e,  e ~ N(0, σ² K),  reading = x + gain of its meter + N(0, τ²)
//
// with the bowl b and a kernel K, and averaged over A, σ, τ and K by the weight
// that each combination gets from its prior and the restricted likelihood
//
//	−½ [2(N − p) ln σ + ln|V| + ln|FᵀV⁻¹F| + rᵀPr/σ²] − d ln τ − S/(2τ²)
//
// where V = K + τ²/σ² diag(1/n), F are the p meters' gains (flat prior),
// r = y − Aσb, P = V⁻¹ − V⁻¹F(FᵀV⁻¹F)⁻¹FᵀV⁻¹, and d and S are the degrees of
// freedom and the sum of squares of repeats. A place's variance is that of the
// mixture. For universal kriging see Cressie 1993, Statistics for Spatial Data,
// section 3.4; for averaging over hyperparameters Rasmussen & Williams 2006,
// section 5.2 (both from memory).
//
// One eigendecomposition of a kernel serves all ratios τ/σ: see rotated.
func (w *walked) average(anchors []float64, each bool) *posterior {
	w.pairs = w.paired()
	bowl := w.grid.bowl()
	var blocks []*block
	for _, s := range w.grid.shapes() {
		for _, r := range w.rotate(s, bowl, anchors) {
			for ratio := 1 - len(spreads); ratio < len(w.noises); ratio++ {
				if b := w.weigh(r, ratio); b != nil {
					blocks = append(blocks, b)
				}
			}
		}
	}
	top := math.Inf(-1)
	for _, b := range blocks {
		top = max(top, b.best)
	}
	m := &mixture{mean: make([]float64, len(bowl)), square: make([]float64, len(bowl))}
	for _, b := range blocks {
		if b.best < top+negligible {
			continue
		}
		t := addUp(b.nodes, top)
		m.weight += t.one
		m.noise += t.noise
		m.spread += t.spread
		w.predict(b, bowl, anchors, &t, m)
	}
	p := m.posterior()
	p.evidence = top + math.Log(m.weight) + w.rootsOfRepeats()
	if each {
		w.leaveOut(blocks, p)
		w.blocks = blocks
	}
	return p
}

// rootsOfRepeats is what the roots in V's determinant add to the evidence.
func (w *walked) rootsOfRepeats() (sum float64) {
	for _, n := range w.n {
		sum += math.Log(n) / 2
	}
	return sum
}

// rotated is a kernel in whose axes the walk's covariance is diagonal:
// V⁻¹ = D Q (Λ + λ)⁻¹ Qᵀ D with D the roots of n, and Q, Λ of D K D.
type rotated struct {
	weight float64 // its logarithm
	values []float64
	axes   *mat.Dense // Q: means × axes
	roots  []float64  // D
	y, b   []float64  // Qᵀ D of the means and of the bowl
	f      [][]float64
	place  *mat.Dense // places × axes: each place's covariance with the walk less the anchors', times D Q
	own    []float64  // each place's prior variance against the anchors
}

// rotate makes the kernels of one shape, one for each share of patches. Where every
// place has one mean of as many readings, patches change the diagonal only, and
// have the same axes. What patches take from the bin's mean is left out: the gains' flat
// prior makes up for it, in weights too.
func (w *walked) rotate(s shape, bowl, anchors []float64) []*rotated {
	patch := w.grid.patchVariance()
	var list []*rotated
	var plain *rotated
	for _, p := range patches {
		alone := drawn * p.value * patch
		var r *rotated
		if plain != nil && w.even() {
			r = plain.patchy(drawn*(1-p.value), alone, w, anchors)
		} else {
			k := mat.NewSymDense(w.grid.places(), nil)
			k.ScaleSym(drawn*(1-p.value), s.cells)
			for i := range w.grid.places() {
				k.SetSym(i, i, k.At(i, i)+alone)
			}
			r = w.turn(k, bowl, anchors)
			if p.value == 0 {
				plain = r
			}
		}
		r.weight = math.Log(s.weight * p.weight)
		list = append(list, r)
	}
	return list
}

// turn finds a kernel's axes.
func (w *walked) turn(k *mat.SymDense, bowl, anchors []float64) *rotated {
	n, places := len(w.cell), w.grid.places()
	r := &rotated{roots: make([]float64, n), values: make([]float64, n), own: make([]float64, places)}
	for i, of := range w.n {
		r.roots[i] = math.Sqrt(of)
	}
	m := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			m.SetSym(i, j, r.roots[i]*k.At(w.cell[i], w.cell[j])*r.roots[j])
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, true) {
		panic("field: no axes of a finite covariance")
	}
	e.Values(r.values)
	for i, v := range r.values {
		r.values[i] = max(v, 0) // below it by rounding only
	}
	r.axes = new(mat.Dense)
	e.VectorsTo(r.axes)
	r.y = r.along(func(i int) float64 { return w.mean[i] })
	r.b = r.along(func(i int) float64 { return bowl[w.cell[i]] })
	for meter := range w.meters {
		r.f = append(r.f, r.along(func(i int) float64 { return indicator(w.meter[i] == meter) }))
	}
	ka := mat.NewVecDense(places, nil) // of each place with the anchors
	kaa := 0.0
	if anchors != nil {
		a := mat.NewVecDense(places, anchors)
		ka.MulVec(k, a)
		kaa = mat.Dot(a, ka)
	}
	cross := mat.NewDense(places, n, nil)
	for t := range places {
		r.own[t] = k.At(t, t) - 2*ka.AtVec(t) + kaa
		row := cross.RawRowView(t)
		for i, c := range w.cell {
			row[i] = (k.At(t, c) - ka.AtVec(c)) * r.roots[i]
		}
	}
	r.place = new(mat.Dense)
	r.place.Mul(cross, r.axes)
	return r
}

func indicator(is bool) float64 {
	if is {
		return 1
	}
	return 0
}

// along is a value of each mean along the axes.
func (r *rotated) along(x func(i int) float64) []float64 {
	out := make([]float64, len(r.roots))
	for i, root := range r.roots {
		floats.AddScaled(out, root*x(i), r.axes.RawRowView(i))
	}
	return out
}

// patchy is the kernel times scale with a variance alone of each place beside, in
// the same axes.
func (r *rotated) patchy(scale, alone float64, w *walked, anchors []float64) *rotated {
	p := *r
	n, places := w.n[0], w.grid.places()
	p.values, p.own = make([]float64, len(r.values)), make([]float64, places)
	for j, v := range r.values {
		p.values[j] = scale/drawn*v + alone*n
	}
	p.place = mat.NewDense(places, len(r.values), nil)
	p.place.Scale(scale/drawn, r.place)
	common := make([]float64, len(r.values)) // of the anchors with the walk
	squares := 0.0
	for i, c := range w.cell {
		if anchors != nil && anchors[c] != 0 {
			floats.AddScaled(common, alone*anchors[c]*r.roots[i], r.axes.RawRowView(i))
		}
		floats.AddScaled(p.place.RawRowView(c), alone*r.roots[i], r.axes.RawRowView(i))
	}
	for _, a := range anchors {
		squares += a * a
	}
	for t := range places {
		floats.Sub(p.place.RawRowView(t), common)
		p.own[t] = scale/drawn*r.own[t] + alone*(1+squares)
		if anchors != nil {
			p.own[t] -= 2 * alone * anchors[t]
		}
	}
	return &p
}

// block is a kernel with one ratio of noise to spread, a power of step.
type block struct {
	*rotated
	lambda float64
	scale  []float64 // 1/(Λ + λ)
	y, b   []float64 // of the means and of the bowl, less the gains that fit them
	gy, gb []float64 // those
	gains  mat.Cholesky
	nodes  []node
	best   float64 // the largest weight among these, its logarithm
	ratio  int
	log    float64 // what of the weights' logarithms depends on the kernel and the ratio alone
	bb     float64
}

// weigh makes a block; nil where no gain can be told.
func (w *walked) weigh(r *rotated, ratio int) *block {
	lambda := math.Pow(step, 2*float64(ratio)) * (w.noises[0] * w.noises[0]) / (spreads[0] * spreads[0])
	b := &block{rotated: r, ratio: ratio, lambda: lambda, scale: make([]float64, len(r.values)), best: math.Inf(-1)}
	logDet := 0.0
	for j, v := range r.values {
		b.scale[j] = 1 / (v + lambda)
		logDet += math.Log(v + lambda)
	}
	ff := mat.NewSymDense(w.meters, nil)
	for i := range w.meters {
		for j := i; j < w.meters; j++ {
			ff.SetSym(i, j, dot3(b.scale, r.f[i], r.f[j]))
		}
	}
	if !b.gains.Factorize(ff) {
		return nil
	}
	b.gy, b.y = b.less(r.y)
	b.gb, b.b = b.less(r.b)
	b.log, b.bb = r.weight-0.5*(logDet+b.gains.LogDet()), dot3(b.scale, b.b, r.b)
	b.nodes = w.nodes(ratio, b.log, dot3(b.scale, b.y, r.y), dot3(b.scale, b.y, r.b), b.bb)
	for _, nd := range b.nodes {
		b.best = max(b.best, nd.log)
	}
	return b
}

func dot3(a, b, c []float64) float64 {
	sum := 0.0
	b, c = b[:len(a)], c[:len(a)]
	for i, x := range a {
		sum += x * b[i] * c[i]
	}
	return sum
}

// less is x without the gains that fit it best, and those.
func (b *block) less(x []float64) (gains, rest []float64) {
	v := mat.NewVecDense(len(b.f), nil)
	for a, f := range b.f {
		v.SetVec(a, dot3(b.scale, f, x))
	}
	_ = b.gains.SolveVecTo(v, v) // its condition: a gain is told by its own readings
	gains = v.RawVector().Data
	rest = append([]float64(nil), x...)
	for a, g := range gains {
		floats.AddScaled(rest, -g, b.f[a])
	}
	return gains, rest
}

// nodes are the noises and spreads of a ratio with every fall-off.
func (w *walked) nodes(ratio int, log, yy, yb, bb float64) []node {
	first, end := max(0, ratio), min(len(w.noises), len(spreads)+ratio)
	list := make([]node, 0, (end-first)*len(falls))
	for k := first; k < end; k++ {
		pair := &w.pairs[k][k-ratio]
		for i, f := range falls {
			a := f.value * pair.spread
			n := *pair
			n.fall = a
			n.log += log + logFalls[i] - (yy-2*a*yb+a*a*bb)/(2*pair.spread*pair.spread)
			list = append(list, n)
		}
	}
	return list
}

// paired gives what the weights of a noise with every spread have by themselves.
func (w *walked) paired() [][]node {
	free := float64(len(w.cell) - w.meters)
	list := make([][]node, len(w.noises))
	for k, tau := range w.noises {
		own := noisePrior(tau) - w.df*math.Log(tau) - w.within/(2*tau*tau)
		for _, sigma := range spreads {
			ln := math.Log(sigma)
			list[k] = append(list[k], node{log: own + spreadPrior(sigma) - free*ln, noise: tau, spread: sigma, logSpread: ln})
		}
	}
	return list
}

// predict adds a block's means and variances of all places.
func (w *walked) predict(b *block, bowl, anchors []float64, t *total, m *mixture) {
	ba := 0.0
	if anchors != nil {
		ba = floats.Dot(anchors, bowl)
	}
	n := len(b.scale)
	share := 1 / float64(w.meters) // of each meter in the scale of a map without sensors
	rest, solved := mat.NewVecDense(w.meters, nil), mat.NewVecDense(w.meters, nil)
	by, bb := product(b.scale, b.y), product(b.scale, b.b)
	root := make([]float64, n)
	for j, s := range b.scale {
		root[j] = math.Sqrt(s)
	}
	fs := make([][]float64, w.meters)
	for a, f := range b.f {
		fs[a] = product(b.scale, f)
	}
	scaled := make([]float64, n)
	for i := range bowl {
		g := b.place.RawRowView(i)
		m0, m1 := floats.Dot(g, by), bowl[i]-ba-floats.Dot(g, bb)
		floats.MulTo(scaled, g, root)
		v := b.own[i] - floats.Dot(scaled, scaled)
		for a := range fs {
			rest.SetVec(a, -floats.Dot(g, fs[a]))
			if anchors == nil {
				m0 += share * b.gy[a]
				m1 -= share * b.gb[a]
				rest.SetVec(a, rest.AtVec(a)+share)
			}
		}
		_ = b.gains.SolveVecTo(solved, rest)
		m.add(i, t, m0, m1, max(v+mat.Dot(rest, solved), 0))
	}
}

func product(a, b []float64) []float64 { return floats.MulTo(make([]float64, len(a)), a, b) }

// leaveOut finds what all others expect of each mean and of each reading.
func (w *walked) leaveOut(blocks []*block, p *posterior) {
	means, readings := newLeftOut(len(w.cell)), newLeftOut(len(w.of))
	n := len(w.cell)
	diag, py, pb := make([]float64, n), make([]float64, n), make([]float64, n)
	for _, b := range blocks {
		w.projected(b, diag, py, pb)
		for i := range n {
			if diag[i] > alike {
				means[i].add(b.nodes, py[i]/diag[i], pb[i]/diag[i], diag[i])
			}
		}
		for k, i := range w.of {
			repeats := w.n[i]
			if repeats == 1 {
				continue
			}
			one := (1-1/repeats)/b.lambda + diag[i]/(repeats*repeats)
			readings[k].add(b.nodes, (w.from[k]/b.lambda+py[i]/repeats)/one, pb[i]/repeats/one, one)
		}
	}
	for _, l := range means {
		p.means = append(p.means, l.expected())
	}
	for k, i := range w.of {
		if w.n[i] == 1 {
			p.readings = append(p.readings, p.means[i])
		} else {
			p.readings = append(p.readings, readings[k].expected())
		}
	}
}

func newLeftOut(n int) []leftOut {
	l := make([]leftOut, n)
	for i := range l {
		l[i].top = math.Inf(-1)
	}
	return l
}

// projected puts the diagonal of P, and P times the means and the bowl, there.
func (w *walked) projected(b *block, diag, py, pb []float64) {
	by, bb := product(b.scale, b.y), product(b.scale, b.b)
	f, solved := mat.NewVecDense(w.meters, nil), mat.NewVecDense(w.meters, nil)
	fs := make([][]float64, w.meters)
	for a := range fs {
		fs[a] = product(b.scale, b.f[a])
	}
	for i, root := range b.roots {
		q := b.axes.RawRowView(i)
		py[i], pb[i] = root*floats.Dot(q, by), root*floats.Dot(q, bb)
		diag[i] = dot3(b.scale, q, q)
		for a := range fs {
			f.SetVec(a, floats.Dot(q, fs[a]))
		}
		_ = b.gains.SolveVecTo(solved, f)
		diag[i] = root * root * (diag[i] - mat.Dot(f, solved))
	}
}
