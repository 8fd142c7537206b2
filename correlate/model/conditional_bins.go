package model

import (
	"math"
	"slices"
)

// tilted is the distribution of which rows of one bin gave the rarer answer, as
// many as did: every choice is as likely as exp(Σ xᵢᵀβ) over its rows.
//
//	l(β) = Σ {xᵢᵀβ : i did} − ln Σ {exp(Σ {xᵢᵀβ : i in S}) : S as large}
//
// The sum over subsets is found row by row, as are the mean, the covariance and
// the third moment of Σ xᵢ: each is that of a mixture of the subsets without the
// next row and with it.
//
// Gail, Lubin, Rubinstein (1981), Biometrika 68:703–707, for the recursion.
type tilted struct {
	x    [][]float64 // a row each: the columns less their means in the bin
	sign float64     // −1 where the rarer answer is no, so that β acts the other way
	did  []float64   // Σ x over the rows that gave the rarer answer
	most int         // how many did

	sizes []moments // by size of the subset, while they are found
}

// tilt takes the rows of one bin; y is 1 or 0 a row. It is nil where all gave the
// same answer, which tells nothing.
func tilt(columns [][]float64, rows []int, y []float64) *tilted {
	yes := 0
	for _, i := range rows {
		yes += int(y[i])
	}
	t := &tilted{sign: 1, most: min(yes, len(rows)-yes)}
	if t.most == 0 {
		return nil
	}
	rarer := 1.0
	if t.most < yes {
		t.sign, rarer = -1, 0
	}
	p := len(columns)
	t.x, t.did = make([][]float64, len(rows)), make([]float64, p)
	for k := range t.x {
		t.x[k] = make([]float64, p)
	}
	own := make([]float64, len(rows))
	for j, c := range columns {
		for k, i := range rows {
			own[k] = c[i]
		}
		m := mean(own)
		if slices.Max(own)-slices.Min(own) <= constantLimit*maxAbs(own) {
			continue // a mean's rounding is no difference
		}
		for k, v := range own {
			t.x[k][j] = v - m
			if y[rows[k]] == rarer {
				t.did[j] += v - m
			}
		}
	}
	return t
}

// moments are those of Σ x over subsets of one size.
type moments struct {
	log        float64   // of the sum of weights
	mean       []float64 // p
	covariance []float64 // p × p
	third      []float64 // Σᵣₛ aᵣₛ κᵣₛₜ, by t, where an inverse information a was given
}

// at gives the moments under β of the subsets as large as the rarer answer is
// often; the third only where a, p × p, is not nil. They hold until the next call.
func (t *tilted) at(beta, a []float64) moments {
	p := len(beta)
	if t.sizes == nil {
		t.sizes = make([]moments, t.most+1)
		for k := range t.sizes {
			t.sizes[k] = moments{mean: make([]float64, p), covariance: make([]float64, p*p), third: make([]float64, p)}
		}
	}
	sizes := t.sizes
	for k := range sizes[1:] {
		sizes[k+1].log = math.Inf(-1)
	}
	m := mixture{a: a, d: make([]float64, p), along: make([]float64, p), more: make([]float64, p*p)}
	for j, x := range t.x {
		eta := t.sign * dot(x, beta)
		// Only what can still become a subset of the full size.
		for k := min(j+1, t.most); k >= max(1, t.most-(len(t.x)-1-j)); k-- {
			m.join(&sizes[k], &sizes[k-1], x, eta)
		}
	}
	return sizes[t.most]
}

// mixture joins the subsets that hold a row to those that do not.
type mixture struct {
	a     []float64
	d     []float64 // how far their means lie apart
	along []float64 // a d
	more  []float64 // by how much their covariances differ
}

// join makes s, the moments of subsets of a size without the row x, those of the
// subsets with and without it; less has one row fewer.
func (m *mixture) join(s, less *moments, x []float64, eta float64) {
	with := less.log + eta
	if math.IsInf(s.log, -1) { // none is without it
		s.log = with
		for r, v := range less.mean {
			s.mean[r] = v + x[r]
		}
		copy(s.covariance, less.covariance)
		copy(s.third, less.third)
		return
	}
	ratio := math.Exp(s.log - with)
	share := 1 / (1 + ratio)
	if ratio < 1 {
		s.log = with + math.Log1p(ratio)
	} else {
		s.log += math.Log1p(1 / ratio)
	}
	p := len(x)
	for r, v := range less.mean {
		d := v + x[r] - s.mean[r]
		m.d[r] = d
		s.mean[r] += share * d
	}
	if m.a != nil {
		for r, v := range less.covariance {
			m.more[r] = v - s.covariance[r]
		}
		m.third(s, less, share)
	}
	both := share * (1 - share)
	for r, d := range m.d {
		own, other := s.covariance[r*p:(r+1)*p], less.covariance[r*p:(r+1)*p]
		for c, v := range m.d {
			own[c] += share*(other[c]-own[c]) + both*d*v
		}
	}
}

// third mixes third moments contracted with a.
func (m *mixture) third(s, less *moments, share float64) {
	p := len(m.d)
	var trace, square float64 // tr a·more, dᵀ a d
	for r := range p {
		a, more := m.a[r*p:(r+1)*p], m.more[r*p:(r+1)*p]
		var along float64
		for c, d := range m.d {
			trace += a[c] * more[c]
			along += a[c] * d
		}
		m.along[r] = along
		square += along * m.d[r]
	}
	both := share * (1 - share)
	for r := range p {
		more := m.more[r*p : (r+1)*p]
		v := (trace + (1-2*share)*square) * m.d[r]
		for c, along := range m.along {
			v += 2 * more[c] * along
		}
		s.third[r] += share*(less.third[r]-s.third[r]) + both*v
	}
}

// binwise is the likelihood of yes/no answers given each bin's number of them,
// with Firth's penalty, as something to climb.
//
//	l*(β) = Σ over bins l(β) + ½ ln |I(β)|
type binwise struct {
	bins []*tilted
	p    int

	beta        []float64
	value       float64   // l*
	score       []float64 // of l, without the penalty
	information []float64 // p × p
	root        *basis    // its upper triangular root: information = rᵀr
}

func newBinwise(columns [][]float64, bins Factor, y []float64) *binwise {
	w := &binwise{p: len(columns)}
	rows := make([][]int, len(bins.Levels))
	for i, b := range bins.Of {
		rows[b] = append(rows[b], i)
	}
	for _, of := range rows {
		if t := tilt(columns, of, y); t != nil {
			w.bins = append(w.bins, t)
		}
	}
	return w
}

// informative counts the rarer answers of bins where both answers occur.
func (w *binwise) informative() int {
	n := 0
	for _, t := range w.bins {
		n += t.most
	}
	return n
}

func (w *binwise) stand(beta []float64) error {
	w.beta = slices.Clone(beta)
	w.value, w.score, w.information = 0, make([]float64, w.p), make([]float64, w.p*w.p)
	for _, t := range w.bins {
		m := t.at(beta, nil)
		w.value += t.sign*dot(t.did, beta) - m.log
		for r := range w.p {
			w.score[r] += t.sign * (t.did[r] - m.mean[r])
		}
		for r, v := range m.covariance {
			w.information[r] += v
		}
	}
	var err error
	if w.root, err = rootOf(w.information, w.p); err != nil {
		return err
	}
	for j := range w.p {
		w.value += math.Log(w.root.r[j][j])
	}
	if math.IsNaN(w.value) || math.IsInf(w.value, 0) {
		return errFirth
	}
	return nil
}

func (w *binwise) height() float64 { return w.value }

// ascent solves Iδ = U* for the leading coefficients, with the penalised score
// U* = U + ½ Σᵣₛ (I⁻¹)ᵣₛ ∂Iᵣₛ/∂β.
func (w *binwise) ascent(free int) (step []float64, length float64) {
	a := w.inverse()
	score := slices.Clone(w.score)
	for _, t := range w.bins {
		for r, v := range t.at(w.beta, a).third {
			score[r] += t.sign * v / 2
		}
	}
	lead := w.root.leading(free)
	z := lead.solveT(score[:free])
	return lead.solve(z), norm(z)
}

func (w *binwise) swing(step []float64) float64 {
	var most float64
	for _, t := range w.bins {
		for _, x := range t.x {
			most = max(most, math.Abs(dot(x[:len(step)], step)))
		}
	}
	return most
}

func (w *binwise) spread(v []float64) (along []float64, variance float64) {
	g := w.root.solveT(v)
	return w.root.solve(g), dot(g, g)
}

// inverse is the inverse of the information.
func (w *binwise) inverse() []float64 {
	a := make([]float64, 0, w.p*w.p)
	unit := make([]float64, w.p)
	for j := range w.p {
		clear(unit)
		unit[j] = 1
		along, _ := w.spread(unit)
		a = append(a, along...)
	}
	return a
}

// rootOf is the Cholesky factor of a matrix, as the triangle of a basis.
func rootOf(matrix []float64, p int) (*basis, error) {
	b := &basis{}
	for j := range p {
		r := make([]float64, p)
		left := matrix[j*p+j]
		for k := range j {
			v := matrix[k*p+j]
			for i := range k {
				v -= b.r[k][i] * r[i]
			}
			r[k] = v / b.r[k][k]
			left -= r[k] * r[k]
		}
		if !(left > 1e-13*matrix[j*p+j]) || math.IsInf(left, 0) {
			return nil, errFirth
		}
		r[j] = math.Sqrt(left)
		b.r = append(b.r, r)
	}
	return b, nil
}

// leading is the triangle of the leading columns.
func (b *basis) leading(n int) *basis {
	l := &basis{r: make([][]float64, n)}
	for j := range n {
		l.r[j] = b.r[j][:n]
	}
	return l
}
