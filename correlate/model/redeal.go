package model

import (
	"iter"
	"math"
	"math/rand/v2"
	"slices"
	"sync/atomic"
)

// Deal writes one random deal of the treatments into labels, one a row: each
// the index of a combination of levels, as Combinations numbers them. It is
// called from several goroutines, each with its own generator and labels.
type Deal func(rng *rand.Rand, labels []int)

// Redealt is the result of a re-dealing test of one effect.
type Redealt struct {
	Term
	P     float64
	Deals int // how many were compared, the actual one included
}

// Combinations numbers the combinations of the factors' levels, the first
// slowest, and gives each row its own.
func (d *Design) Combinations(factors []int) []int {
	labels := make([]int, d.N)
	for _, f := range factors {
		k := len(d.Factors[f].Levels)
		for i, l := range d.Factors[f].Of {
			labels[i] = labels[i]*k + l
		}
	}
	return labels
}

// Redeal tests every effect that the dealt treatments take part in by dealing
// them anew: outcomes, covariates, light and places stay where they are, and
// the whole model is fitted again each time.
//
//	p = (1 + #{F* ≥ F}) / (1 + deals)
//
// dealt are indexes into Design.Factors. The seed fixes the result.
func Redeal(m Permutable, dealt []int, deal Deal, deals int, seed uint64) []Redealt {
	r := m.redealing(dealt)
	if r == nil {
		return nil
	}
	reached := make([]atomic.Int64, len(r.effects))
	done := inRounds(len(r.offset), deals, seed, func() func(*rand.Rand, int) {
		w := r.worker()
		labels := make([]int, len(r.offset))
		return func(rng *rand.Rand, deals int) {
			counts := make([]int64, len(reached))
			for range deals {
				deal(rng, labels)
				w.count(labels, counts)
			}
			for e := range reached {
				reached[e].Add(counts[e])
			}
		}
	}, func() []int64 {
		counts := make([]int64, len(reached))
		for e := range reached {
			counts[e] = reached[e].Load()
		}
		return counts
	})
	return r.tests(done+1, func(e int) int64 { return 1 + reached[e].Load() })
}

// RedealAll is Redeal over a list of all possible deals, the actual one among
// them: p is the share that reaches the actual F. With fewer than 20 deals no p
// can fall under 0.05; the caller says so instead.
func RedealAll(m Permutable, dealt []int, all iter.Seq[[]int]) []Redealt {
	r := m.redealing(dealt)
	if r == nil {
		return nil
	}
	w := r.worker()
	counts := make([]int64, len(r.effects))
	var deals int
	for labels := range all {
		w.count(labels, counts)
		deals++
	}
	return r.tests(deals, func(e int) int64 { return counts[e] })
}

// redealing holds what all deals share.
//
// With y and every column that stays projected off what stays, r = M y, the
// effects of dealt columns T need only r'T and T'MT = T'T − (Q'T)'(Q'T). Dealt
// columns are indicators, so both are sums over the rows of each cell: a deal
// costs one pass that adds each row's numbers to its cell, and a factorisation
// as small as the number of dealt columns.
type redealing struct {
	effects []Effect // those with a dealt factor
	rows    []numbers
	width   int   // numbers a row: r, then Q's columns
	offset  []int // by row: where its cells start
	cells   int
	columns [][]int   // by dealt column: its cells
	shared  [][][]int // by pair of dealt columns: the cells of both
	orders  [][]int   // by effect: the columns before it, then its own
	own     []int     // by effect: how many are its own
	apart   bool      // one effect, of many columns that share no row, few that stay
	rss     float64   // r'r
	root    float64   // √ of the sum of weights: √n where each is one
	actual  []float64 // by effect: ΔRSS / RSS
}

// lanes is how many numbers of a row are added at a time.
const lanes = 4

// numbers are a part of a row's.
type numbers [lanes]float64

func (n *numbers) add(v *numbers) {
	n[0] += v[0]
	n[1] += v[1]
	n[2] += v[2]
	n[3] += v[3]
}

func (f *Fit) remains() (e []float64, q [][]float64) {
	if f.Exact {
		return nil, nil
	}
	return f.Residuals, f.basis.q
}

func (f *Fit) redealing(dealt []int) *redealing {
	if f.Exact {
		return nil
	}
	return newRedealing(f.Design, f.Y, nil, dealt)
}

// newRedealing prepares the deals of the model of y whose rows weigh the
// squares of the root weights given; nil: one each. It is nil where nothing can
// be dealt anew.
func newRedealing(d *Design, y, rootWeights []float64, dealt []int) *redealing {
	if d.Columns[0].Kind != KindIntercept {
		return nil
	}
	weighed := func(x []float64) []float64 {
		w := append([]float64(nil), x...)
		for i, root := range rootWeights {
			w[i] *= root
		}
		return w
	}
	r := &redealing{}
	isDealt := func(f int) bool { return slices.Contains(dealt, f) }
	var stays [][]float64
	var mix []int // factors that stay but interact with dealt ones
	for _, e := range d.Effects {
		if !slices.ContainsFunc(e.Factors, isDealt) {
			for _, c := range d.Columns[e.First:e.End] {
				stays = append(stays, weighed(c.Values))
			}
			continue
		}
		r.effects = append(r.effects, e)
		for _, f := range e.Factors {
			if !isDealt(f) && !slices.Contains(mix, f) {
				mix = append(mix, f)
			}
		}
	}
	b, err := newBasis(stays, rootWeights == nil)
	if err != nil || len(r.effects) == 0 {
		return nil
	}
	r.root = norm(stays[0])
	left := weighed(y)
	b.project(left, make([]float64, len(b.q)))
	r.rss = dot(left, left)
	r.width = (1 + len(b.q) + lanes - 1) / lanes * lanes
	parts := r.width / lanes
	r.rows = make([]numbers, d.N*parts)
	left = weighed(left)
	for i := range d.N {
		r.rows[i*parts][0] = left[i]
	}
	for k, q := range b.q {
		for i, v := range weighed(q) {
			r.rows[i*parts+(1+k)/lanes][(1+k)%lanes] = v
		}
	}
	r.layCells(d, dealt, mix)
	w := r.worker()
	r.actual = make([]float64, len(r.effects))
	w.ratios(d.Combinations(dealt), r.actual)
	for e := range r.actual {
		r.actual[e] *= 1 - 1e-9 // an equal deal counts, whatever its rounding
	}
	return r
}

// layCells numbers the cells (what stays slowest, then the label) and lists
// the cells of each column.
func (r *redealing) layCells(d *Design, dealt, mix []int) {
	labels := 1
	for _, f := range dealt {
		labels *= len(d.Factors[f].Levels)
	}
	r.offset = d.Combinations(mix)
	for i := range r.offset {
		r.offset[i] *= labels
	}
	factors := append(slices.Clone(mix), dealt...)
	all := d.cells(factors...)
	r.cells = len(all)
	var effects []Effect
	for _, e := range r.effects {
		own := Effect{Term: e.Term, Factors: e.Factors, First: len(r.columns)}
		for _, levels := range d.cells(e.Factors...) {
			if slices.ContainsFunc(levels, func(at At) bool { return at.Level == 0 }) {
				continue
			}
			var in []int
			for c, cell := range all {
				if !slices.ContainsFunc(levels, func(at At) bool { return !slices.Contains(cell, at) }) {
					in = append(in, c)
				}
			}
			r.columns = append(r.columns, in)
		}
		own.End = len(r.columns)
		effects = append(effects, own)
	}
	r.effects = effects
	r.shared = make([][][]int, len(r.columns))
	full := make([]int, len(r.columns))
	for a := range r.columns {
		full[a] = a
		r.shared[a] = make([][]int, a+1)
		for b := range a + 1 {
			for _, c := range r.columns[a] {
				if slices.Contains(r.columns[b], c) {
					r.shared[a][b] = append(r.shared[a][b], c)
				}
			}
		}
	}
	for _, e := range effects {
		var order []int
		for _, other := range effects {
			if other.Term == e.Term || other.Contains(e) {
				continue
			}
			order = append(order, full[other.First:other.End]...)
		}
		r.own = append(r.own, e.End-e.First)
		r.orders = append(r.orders, append(order, full[e.First:e.End]...))
	}
	r.apart = len(effects) == 1 && len(dealt)+len(mix) == 1 && len(r.columns) >= 4*r.width
}

func (r *redealing) tests(deals int, reached func(e int) int64) []Redealt {
	tests := make([]Redealt, len(r.effects))
	for e, effect := range r.effects {
		tests[e] = Redealt{Term: effect.Term, P: float64(reached(e)) / float64(deals), Deals: deals}
	}
	return tests
}

// redealer is one worker's memory.
type redealer struct {
	*redealing
	sums   []numbers // by cell: the sums of its rows' numbers
	cross  []float64 // by column: the same
	gram   []float64 // T'MT, lower triangle
	factor []float64
	z      []float64
	ratio  []float64
	small  []float64 // of explainedApart
}

func (r *redealing) worker() *redealer {
	m := len(r.columns)
	return &redealer{
		redealing: r, sums: make([]numbers, r.cells*r.width/lanes), cross: make([]float64, m*r.width),
		gram: make([]float64, m*m), factor: make([]float64, m*m), z: make([]float64, m), ratio: make([]float64, len(r.effects)),
		small: make([]float64, r.width*(r.width-1)),
	}
}

// count adds one to the effects whose ratio reaches the actual one.
func (w *redealer) count(labels []int, reached []int64) {
	w.ratios(labels, w.ratio)
	for e, v := range w.ratio {
		if v >= w.actual[e] {
			reached[e]++
		}
	}
}

// ratios gives each effect's ΔRSS / RSS for one deal.
func (w *redealer) ratios(labels []int, into []float64) {
	clear(w.sums)
	parts := w.width / lanes
	offset := w.offset[:len(labels)]
	rows := w.rows
	for i, l := range labels {
		sums := w.sums[(offset[i]+l)*parts:]
		sums[0].add(&rows[0])
		for k := 1; k < parts; k++ {
			sums[k].add(&rows[k])
		}
		rows = rows[parts:]
	}
	w.crosses()
	if w.apart {
		if explained, ok := w.explainedApart(); ok {
			into[0] = explained / (w.rss - explained)
			return
		}
	}
	w.grams()
	m := len(w.columns)
	rss := w.rss
	for e, order := range w.orders {
		var all float64
		all, into[e] = w.explained(order, w.own[e])
		if len(order) == m { // so it is for an effect that no other contains
			rss = w.rss - all
		}
	}
	for e := range into {
		into[e] /= rss
	}
}

// crosses adds up each column's numbers over its cells.
func (w *redealer) crosses() {
	width, parts := w.width, w.width/lanes
	clear(w.cross)
	for j, cells := range w.columns {
		cross := w.cross[j*width : j*width+width]
		for _, c := range cells {
			for part := range parts {
				(*numbers)(cross[part*lanes:]).add(&w.sums[c*parts+part])
			}
		}
	}
}

// grams sets T'MT.
func (w *redealer) grams() {
	m, width, parts := len(w.columns), w.width, w.width/lanes
	for a := range m {
		ca := w.cross[a*width+1 : a*width+width]
		for b := range a + 1 {
			var g float64
			for _, c := range w.shared[a][b] {
				g += w.sums[c*parts][1] // Q's first column is 1/√n
			}
			g *= w.root
			for k, v := range w.cross[b*width+1 : b*width+width] {
				g -= v * ca[k]
			}
			w.gram[a*m+b] = g
		}
	}
}

// explainedApart is the sum of squares that columns explain which share no row, so
// that T'T = D is diagonal. With C = T'Q, b = T'r and the few columns of Q
//
//	b'(D − CC')⁻¹b = b'D⁻¹b + (C'D⁻¹b)'(I − C'D⁻¹C)⁻¹(C'D⁻¹b)
//
// (Woodbury's identity). It is not ok where a column is empty in this deal, or made up
// by those that stay.
func (w *redealer) explainedApart() (sum float64, ok bool) {
	k := w.width - 1
	clear(w.small)
	a, v := w.small[:k*k], w.small[k*k:]
	for j, cells := range w.columns {
		var d float64
		for _, c := range cells {
			d += w.sums[c*w.width/lanes][1]
		}
		if d *= w.root; !(d > 0) {
			return 0, false
		}
		cross := w.cross[j*w.width : (j+1)*w.width]
		b, c := cross[0], cross[1:]
		sum += b * b / d
		for i, ci := range c {
			v[i] += ci * b / d
			for h, ch := range c[:i+1] {
				a[i*k+h] -= ci * ch / d
			}
		}
	}
	for i := range k {
		a[i*k+i]++
		for j := range i + 1 {
			g := a[i*k+j]
			for h := range j {
				g -= a[i*k+h] * a[j*k+h]
			}
			if j < i {
				a[i*k+j] = g / a[j*k+j]
				v[i] -= a[i*k+j] * v[j]
				continue
			}
			if !(g > 1e-10) {
				return 0, false
			}
			a[i*k+i] = math.Sqrt(g)
			v[i] /= a[i*k+i]
		}
		sum += v[i] * v[i]
	}
	return sum, true
}

// explained factorises T'MT over the columns in order and gives the sums of
// squares that all of them and the last own of them explain. A column that the
// others make up in this deal explains nothing.
func (w *redealer) explained(order []int, own int) (all, last float64) {
	n, m := len(order), len(w.columns)
	for i, a := range order {
		row := w.factor[i*m : i*m+n]
		z := w.cross[a*w.width]
		for j, b := range order[:i+1] {
			g := w.gram[max(a, b)*m+min(a, b)]
			other := w.factor[j*m : j*m+n]
			for k := range j {
				g -= row[k] * other[k]
			}
			if j < i {
				if other[j] > 0 {
					row[j] = g / other[j]
				} else {
					row[j] = 0
				}
				z -= row[j] * w.z[j]
				continue
			}
			row[i], w.z[i] = 0, 0
			if g > 1e-10*w.gram[a*m+a] && g > 0 {
				row[i] = math.Sqrt(g)
				w.z[i] = z / row[i]
			}
		}
		all += w.z[i] * w.z[i]
		if i >= n-own {
			last += w.z[i] * w.z[i]
		}
	}
	return all, last
}
