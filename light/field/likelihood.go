package field

import "math"

// likelihood is the restricted likelihood of range and nugget, for a survey and a
// trend beneath.
type likelihood struct {
	g       *grouped
	shares  []share
	lattice lattice
	nugget  []float64
}

// share is a part of a survey's values that is independent of the others.
type share struct {
	*kriged
	f   [][]float64
	y   []float64
	n   []float64 // readings behind each value
	rho func(i, j int) float64
}

// newLikelihood splits a complete walk into its independent shares; any other
// survey is a single one.
func newLikelihood(g *grouped, degree int) *likelihood {
	x := &likelihood{g: g, lattice: g.lattice(), nugget: make([]float64, len(g.cells))}
	if g.complete() {
		x.shares = g.fold(degree, &x.lattice)
		return x
	}
	f := g.trend(g.cells, g.meter, degree)
	x.shares = []share{{newKriged(len(g.cells), len(f)), f, g.mean, g.n, func(i, j int) float64 {
		return x.lattice.between(g.cells[i], g.cells[j])
	}}}
	return x
}

// ridge is how many per cent of nugget, against the sill, one per cent of range
// takes away along the crest of a survey's likelihood, about: the searched plane
// is sheared by it so that the crest runs along an axis.
const ridge = 3

// pointOf is where a range and a nugget lie in the plane that is searched.
func pointOf(phi, lambda float64) point {
	return point{math.Log(phi), math.Log(lambda) + ridge*math.Log(phi)}
}

func (p point) phi() float64 { return math.Exp(p[0]) }

func (p point) lambda() float64 { return math.Exp(p[1] - ridge*p[0]) }

// lambdaBound bounds the search: a nugget from a thousandth of the sill to a
// thousand sills; the range from half a pitch to four times the grid's diagonal.
const lambdaBound = 1e3

func (g *grouped) inBounds(phi, lambda float64) bool {
	return phi >= g.pitch()/2 && phi <= 4*g.diagonal() && lambda >= 1/lambdaBound && lambda <= lambdaBound
}

// at is the log likelihood at a point, up to a constant; −∞ out of bounds or where
// nothing can be solved.
func (x *likelihood) at(p point) float64 {
	phi, lambda := p.phi(), p.lambda()
	if !x.g.inBounds(phi, lambda) {
		return math.Inf(-1)
	}
	x.lattice.setRange(phi)
	df, quad, logDet := 0, 0.0, 0.0
	for _, s := range x.shares {
		nugget := x.nugget[:s.kriged.n]
		for i, n := range s.n {
			nugget[i] = lambda / n
		}
		if s.solve(s.f, s.y, nugget, s.rho) != nil {
			return math.Inf(-1)
		}
		df += s.kriged.n - s.p
		quad += s.quad
		logDet += s.logDet
	}
	if df <= 0 {
		return math.Inf(-1)
	}
	loglik, _ := x.g.restricted(float64(df), quad, logDet, lambda)
	return loglik
}

// restricted is the restricted log likelihood with the sill profiled out, up to
// a constant, for a given n − p, Q = (y − Fβ)ᵀV⁻¹(y − Fβ) and ln|V| + ln|FᵀV⁻¹F|.
// S is the sum of squares of repeats about their means, d its degrees of freedom
// and λ the nugget of one reading in units of the sill:
//
//	−½ [(n − p + d) ln σ̂² + ln|V| + ln|FᵀV⁻¹F| + d ln λ],  σ̂² = (Q + S/λ)/(n − p + d)
//
// Patterson & Thompson 1971, Biometrika 58:545-554 (from memory), with the
// repeats' part written apart.
func (g *grouped) restricted(df, quad, logDet, lambda float64) (loglik, sill float64) {
	df += g.df
	if g.df > 0 {
		quad += g.within / lambda
		logDet += g.df * math.Log(lambda)
	}
	sill = quad / df
	return -0.5 * (df*math.Log(sill) + logDet), sill
}

// complete tells whether one meter stood equally often at every position.
func (g *grouped) complete() bool {
	if len(g.meters) > 1 || len(g.cells) != g.bin.Rows*g.bin.Columns {
		return false
	}
	for _, n := range g.n {
		if n != g.n[0] {
			return false
		}
	}
	return true
}

// fold splits a complete walk's values into those that are even and odd under
// the grid's two mirror images. As correlations depend on distances alone, the
// four shares are independent, and to solve them takes a sixteenth of the time.
// Each term of the trend belongs to one of them.
func (g *grouped) fold(degree int, l *lattice) (shares []share) {
	rows, columns := g.bin.Rows, g.bin.Columns
	terms := g.trend(g.bin.Positions(), nil, degree)
	values := make([]float64, len(g.cells))
	for i, c := range g.cells {
		values[g.bin.Index(c)] = g.mean[i]
	}
	// The terms' signs under the mirror images: constant, across columns, across rows.
	signs := [...][2]float64{{1, 1}, {1, -1}, {-1, 1}}
	for _, sign := range [...][2]float64{{1, 1}, {1, -1}, {-1, 1}, {-1, -1}} {
		up, across := newMirror(rows, sign[0]), newMirror(columns, sign[1])
		var cells []foldedCell
		for i := range up.n {
			for j := range across.n {
				cells = append(cells, foldedCell{i, j, up.weight(i) * across.weight(j)})
			}
		}
		n := len(cells)
		if n == 0 {
			continue
		}
		folded := func(x []float64) []float64 {
			y := make([]float64, n)
			for k, c := range cells {
				near, far := x[c.row*columns:], x[(rows-1-c.row)*columns:]
				y[k] = c.weight * (near[c.column] + sign[0]*far[c.column] +
					sign[1]*(near[columns-1-c.column]+sign[0]*far[columns-1-c.column]))
			}
			return y
		}
		s := share{y: folded(values), n: g.n[:n]}
		for c, f := range terms {
			if signs[c] == sign {
				s.f = append(s.f, folded(f))
			}
		}
		s.kriged = newKriged(n, len(s.f))
		s.rho = func(a, b int) float64 {
			x, y := &cells[a], &cells[b]
			near, far := l.rho[abs(x.row-y.row)*columns:], l.rho[(rows-1-x.row-y.row)*columns:]
			beside, across := abs(x.column-y.column), columns-1-x.column-y.column
			return 4 * x.weight * y.weight *
				(near[beside] + sign[0]*far[beside] + sign[1]*(near[across]+sign[0]*far[across]))
		}
		shares = append(shares, s)
	}
	return shares
}

// foldedCell stands for a cell, from 0, and its mirror images.
type foldedCell struct {
	row, column int
	weight      float64
}

// mirror is a line of cells folded at its middle: of even functions its first
// half with the middle, of odd ones without.
type mirror struct{ length, n int }

func newMirror(length int, sign float64) mirror {
	if sign > 0 {
		return mirror{length, (length + 1) / 2}
	}
	return mirror{length, length / 2}
}

// weight makes the folded values as long as the unfolded: 1/√2, and ½ for the
// middle, which is its own image.
func (m mirror) weight(i int) float64 {
	if 2*i == m.length-1 {
		return 0.5
	}
	return math.Sqrt2 / 2
}

func abs(x int) int { return max(x, -x) }
