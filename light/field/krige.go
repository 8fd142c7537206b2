package field

import (
	"errors"
	"math"
)

// site is a place on a bin's floor, in centimetres.
type site struct{ x, y float64 }

func (a site) distance(b site) float64 { return math.Hypot(a.x-b.x, a.y-b.y) }

// matern is the Matérn correlation of order 5/2 at a distance h, twice
// differentiable, as a lamp's light on a floor is smooth:
//
//	ρ(h) = (1 + a + a²/3) exp(−a),  a = √5 h/φ
//
// with range φ > 0. Rasmussen & Williams 2006, Gaussian Processes for Machine
// Learning, eq. 4.17 (from memory). Order 3/2 left a tenth more error on
// simulated lamps and an interval that was too wide.
func matern(h, phi float64) float64 {
	a := math.Sqrt(5) * h / phi
	return (1 + a + a*a/3) * math.Exp(-a)
}

// kriged is universal kriging of n values y by a trend of p terms: the best
// linear unbiased prediction of trend + smooth surface, without the nugget.
//
//	V = ρ(sites) + λ diag(1/n)     in units of the sill σ²
//	β = (FᵀV⁻¹F)⁻¹ FᵀV⁻¹y
//	m(x) = f(x)ᵀβ + ρ(x)ᵀV⁻¹(y − Fβ)
//
// Cressie 1993, Statistics for Spatial Data, section 3.4 (from memory).
type kriged struct {
	n, p   int
	v      triangle    // of V = LLᵀ
	b      [][]float64 // L⁻¹F, column by column
	g      triangle    // of FᵀV⁻¹F = GGᵀ
	beta   []float64
	w      []float64 // L⁻¹(y − Fβ)
	quad   float64   // (y − Fβ)ᵀV⁻¹(y − Fβ)
	logDet float64   // ln|V| + ln|FᵀV⁻¹F|
	nugget []float64
	u      [][]float64 // L⁻¹, column by column, each from its diagonal down; nil until it is wanted
}

var errSingular = errors.New("the surveyed positions can't carry this trend")

// newKriged makes room for n values and p trend terms; solve may be called often.
func newKriged(n, p int) *kriged {
	k := &kriged{n: n, p: p, v: newTriangle(n), g: newTriangle(p), beta: make([]float64, p), w: make([]float64, n), nugget: make([]float64, n)}
	for range p {
		k.b = append(k.b, make([]float64, n))
	}
	return k
}

// leastPivot is the square of the least pivot of FᵀV⁻¹F against its greatest at
// which trend terms still count as told apart.
const leastPivot = 1e-12

// solve fits one correlation, between the sites of each pair of values, and one
// nugget a value, in units of the sill. f holds the trend's p columns.
func (k *kriged) solve(f [][]float64, y, nugget []float64, rho func(i, j int) float64) error {
	k.u = nil
	copy(k.nugget, nugget)
	for i := range k.n {
		row := k.v.row(i)
		for j := range row {
			row[j] = rho(i, j)
		}
		row[i] += nugget[i]
	}
	var ok bool
	if k.logDet, ok = k.v.factor(); !ok {
		return errSingular
	}
	for c, column := range f {
		copy(k.b[c], column)
		k.v.forward(k.b[c])
	}
	copy(k.w, y)
	k.v.forward(k.w)
	low, high := math.Inf(1), 0.0
	for c := range k.p {
		row := k.g.row(c)
		for d := range row {
			row[d] = dot(k.b[c], k.b[d])
		}
		k.beta[c] = dot(k.b[c], k.w)
	}
	logDet, ok := k.g.factor()
	for c := range k.p {
		pivot := k.g.row(c)[c]
		low, high = min(low, pivot), max(high, pivot)
	}
	if !ok || low*low <= leastPivot*high*high {
		return errSingular
	}
	k.logDet += logDet
	k.g.forward(k.beta)
	k.g.backward(k.beta)
	for c, beta := range k.beta {
		addScaled(k.w, -beta, k.b[c])
	}
	k.quad = dot(k.w, k.w)
	return nil
}

// invert makes sure that L⁻¹ is at hand.
func (k *kriged) invert() {
	if k.u != nil {
		return
	}
	k.u = make([][]float64, k.n)
	all := make([]float64, k.n*(k.n+1)/2)
	for j := range k.u {
		k.u[j], all = all[:k.n-j], all[k.n-j:]
		k.u[j][0] = 1
		k.v.forwardFrom(j, k.u[j])
	}
}

// predicted is the surface at one target.
type predicted struct {
	mean float64
	a    []float64 // L⁻¹ρ(sites, target)
	d    []float64 // G⁻¹(f₀ − Bᵀa), B = L⁻¹F
}

// predict gives the surface at a target with trend terms f0, out of its
// correlation with the sites.
func (k *kriged) predict(f0, rho []float64) predicted {
	a := append([]float64(nil), rho...)
	k.v.forward(a)
	return k.predicted(f0, a)
}

// predictAt gives the surface at the site of value j, whose correlation with the
// sites is column j of V less the nugget.
func (k *kriged) predictAt(j int, f0 []float64) predicted {
	k.invert()
	a := make([]float64, k.n)
	copy(a, k.v.row(j))
	for i, u := range k.u[j] {
		a[j+i] -= k.nugget[j] * u
	}
	return k.predicted(f0, a)
}

func (k *kriged) predicted(f0, a []float64) predicted {
	x := predicted{dot(f0, k.beta) + dot(a, k.w), a, make([]float64, k.p)}
	for c := range x.d {
		x.d[c] = f0[c] - dot(k.b[c], a)
	}
	k.g.forward(x.d)
	return x
}

// covariance is that of the errors at two targets, in units of the sill; rho is
// the correlation between them:
//
//	C = ρ₀₀ − AᵀA + (F₀ − AᵀB)(FᵀV⁻¹F)⁻¹(F₀ − AᵀB)ᵀ
func (x predicted) covariance(o predicted, rho float64) float64 {
	return rho - dot(x.a, o.a) + dot(x.d, o.d)
}

// leaveOneOut is each value's error when the others alone predict it:
//
//	e = (P y) / diag P,  P = V⁻¹ − V⁻¹F(FᵀV⁻¹F)⁻¹FᵀV⁻¹
//
// Dubrule 1983, Mathematical Geology 15:687-699 (from memory).
func (k *kriged) leaveOneOut() []float64 {
	k.invert()
	errs, h := make([]float64, k.n), make([]float64, k.p) // h: row j of V⁻¹F G⁻ᵀ
	for j, u := range k.u {
		for c := range h {
			h[c] = dot(u, k.b[c][j:])
		}
		k.g.forward(h)
		errs[j] = dot(u, k.w[j:]) / (dot(u, u) - dot(h, h))
	}
	return errs
}
