package model

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync/atomic"
)

// Neighbours are pairs of rows that lie side by side, with weights such that
// each row's neighbours weigh one together.
type Neighbours struct {
	n    int
	edge []edge
	rows float64 // rows with a neighbour: the sum of all weights
}

// edge joins two rows; weight is wᵢⱼ + wⱼᵢ.
type edge struct {
	a, b   int32
	weight float64
}

// SharedEdges makes neighbours of rows whose positions share an edge in one
// bin. Places count from any number; nil bins means that all are in one.
func SharedEdges(bin, row, column []int) Neighbours {
	type place struct{ bin, row, column int }
	at := map[place][]int{}
	where := func(i int) place {
		p := place{row: row[i], column: column[i]}
		if bin != nil {
			p.bin = bin[i]
		}
		return p
	}
	for i := range row {
		at[where(i)] = append(at[where(i)], i)
	}
	lists := make([][]int, len(row))
	for i := range row {
		p := where(i)
		for _, step := range [][2]int{{-1, 0}, {1, 0}, {0, -1}, {0, 1}} {
			lists[i] = append(lists[i], at[place{p.bin, p.row + step[0], p.column + step[1]}]...)
		}
	}
	return NewNeighbours(lists)
}

// NewNeighbours takes each row's list of neighbours; lists are mutual.
func NewNeighbours(lists [][]int) Neighbours {
	n := Neighbours{n: len(lists)}
	for i, list := range lists {
		if len(list) > 0 {
			n.rows++
		}
		for _, j := range list {
			if j < i {
				n.edge = append(n.edge, edge{int32(j), int32(i), 1/float64(len(list)) + 1/float64(len(lists[j]))})
			}
		}
	}
	return n
}

// Moran is Moran's I of values with mean zero.
//
//	I = (n / Σᵢⱼ wᵢⱼ) · Σᵢⱼ wᵢⱼ eᵢ eⱼ / Σᵢ eᵢ²
//
// ok is false without neighbours or without spread.
//
// Moran (1950), Biometrika 37:17–23; Cliff, Ord (1981), Spatial Processes.
func (n Neighbours) Moran(e []float64) (i float64, ok bool) {
	ss := dot(e, e)
	if n.rows == 0 || !(ss > 0) {
		return 0, false
	}
	return float64(n.n) / n.rows * n.products(e) / ss, true
}

// products is Σᵢⱼ wᵢⱼ eᵢ eⱼ.
func (n Neighbours) products(e []float64) float64 {
	var s float64
	for _, d := range n.edge {
		s += d.weight * e[d.a] * e[d.b]
	}
	return s
}

// Autocorrelation is Moran's I with the one-sided p value of neighbours that
// are more alike than chance makes them.
type Autocorrelation struct {
	I, P  float64
	Deals int
}

// Moran gives Moran's I of a model's residuals, a count's being Pearson's. Its p comes from residuals permuted
// within groups (bins) and projected through the model again, since residuals
// of a fit are alike or unlike by the fit itself:
//
//	p = (1 + #{I* ≥ I}) / (1 + deals)
//
// ok is false without neighbours or where the fit is exact. nil groups means
// that all rows are one group. The seed fixes the result.
func Moran(m Permutable, n Neighbours, groups []int, deals int, seed uint64) (a Autocorrelation, ok bool) {
	e, q := m.remains()
	if e == nil {
		return a, false
	}
	if len(e) != n.n {
		panic("model: neighbours of another number of rows")
	}
	a.I, ok = n.Moran(e)
	if !ok {
		return a, false
	}
	p := newPermuted(e, q, n, groups)
	least := a.I - 1e-9*math.Abs(a.I) // an equal arrangement counts, whatever its rounding
	var reached atomic.Int64
	done := inRounds(n.n, deals, seed, func() func(*rand.Rand, int) {
		z, e := make([]float64, len(e)), make([]float64, len(e))
		return func(rng *rand.Rand, deals int) {
			copy(z, p.z)
			var count int64
			for range deals {
				p.shuffle(rng, z)
				p.project(z, e)
				if i, ok := p.near.Moran(e); ok && i >= least {
					count++
				}
			}
			reached.Add(count)
		}
	}, func() []int64 { return []int64{reached.Load()} })
	a.Deals = done + 1
	a.P = float64(1+reached.Load()) / float64(a.Deals)
	return a, true
}

// permuted holds residuals, columns and neighbours with the rows of a group
// side by side.
type permuted struct {
	z      []float64
	q      [][]float64 // without the columns that are the same throughout each group: permuting leaves these alone
	near   Neighbours
	starts []int // of the groups, and the end
}

func newPermuted(e []float64, q [][]float64, n Neighbours, groups []int) *permuted {
	if groups == nil {
		groups = make([]int, len(e))
	}
	p := &permuted{near: Neighbours{n: n.n, rows: n.rows}, starts: []int{0}}
	var rows []int
	for _, members := range groupRows(groups) {
		if len(members) > 0 {
			rows = append(rows, members...)
			p.starts = append(p.starts, len(rows))
		}
	}
	at := make([]int32, len(e))
	for i, r := range rows {
		at[r] = int32(i)
		p.z = append(p.z, e[r])
	}
	for _, d := range n.edge {
		p.near.edge = append(p.near.edge, edge{at[d.a], at[d.b], d.weight})
	}
	slices.SortFunc(p.near.edge, func(x, y edge) int { return int(min(x.a, x.b)) - int(min(y.a, y.b)) })
	for _, column := range q {
		sorted := make([]float64, len(e))
		for i, r := range rows {
			sorted[i] = column[r]
		}
		if !p.constant(sorted) {
			p.q = append(p.q, sorted)
		}
	}
	return p
}

// constant tells whether a column is the same throughout each group.
func (p *permuted) constant(q []float64) bool {
	for g, start := range p.starts[:len(p.starts)-1] {
		part := q[start:p.starts[g+1]]
		if slices.Max(part)-slices.Min(part) > 1e-13 {
			return false
		}
	}
	return true
}

// shuffle permutes the values within each group.
func (p *permuted) shuffle(rng *rand.Rand, z []float64) {
	for g, start := range p.starts[:len(p.starts)-1] {
		shuffle(rng, z[start:p.starts[g+1]])
	}
}

// project writes what is left of z when the columns are removed into e. It
// takes four and two columns at a time, since the processor can.
func (p *permuted) project(z, e []float64) {
	e = e[:len(z)]
	copy(e, z)
	k := 0
	for ; k+3 < len(p.q); k += 4 {
		q0, q1, q2, q3 := p.q[k][:len(z)], p.q[k+1][:len(z)], p.q[k+2][:len(z)], p.q[k+3][:len(z)]
		var c0, c1, c2, c3 float64
		for i, v := range z {
			c0 += q0[i] * v
			c1 += q1[i] * v
			c2 += q2[i] * v
			c3 += q3[i] * v
		}
		for i, v := range e {
			e[i] = v - (c0*q0[i] + c1*q1[i]) - (c2*q2[i] + c3*q3[i])
		}
	}
	for ; k+1 < len(p.q); k += 2 {
		a, b := p.q[k][:len(z)], p.q[k+1][:len(z)]
		var ca, cb float64
		for i, v := range z {
			ca += a[i] * v
			cb += b[i] * v
		}
		for i := range e {
			e[i] -= ca*a[i] + cb*b[i]
		}
	}
	for ; k < len(p.q); k++ {
		c := dot(p.q[k], z)
		for i, v := range p.q[k] {
			e[i] -= c * v
		}
	}
}
