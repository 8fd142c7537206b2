package field

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
)

// site is a place on a bin's floor, in centimetres.
type site struct{ x, y float64 }

func (a site) distance(b site) float64 { return math.Hypot(a.x-b.x, a.y-b.y) }

// correlation falls from 1 at no distance towards 0.
type correlation func(h float64) float64

// matern is the Matérn correlation of order 5/2, twice differentiable, as a
// lamp's light on a floor is smooth:
//
//	ρ(h) = (1 + a + a²/3) exp(−a),  a = √5 h/φ
//
// with range φ > 0. Rasmussen & Williams 2006, Gaussian Processes for Machine
// Learning, eq. 4.17 (from memory). Order 3/2 left a tenth more error on
// simulated lamps and an interval that was too wide.
func matern(phi float64) correlation {
	return func(h float64) float64 {
		a := math.Sqrt(5) * h / phi
		return (1 + a + a*a/3) * math.Exp(-a)
	}
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
	n, p    int
	l       blas64.Triangular // of V = LLᵀ
	inverse []float64         // of L's diagonal
	b       blas64.General    // (L⁻¹F)ᵀ
	g       blas64.Triangular // of FᵀV⁻¹F = GGᵀ
	beta    []float64
	w       []float64 // L⁻¹(y − Fβ)
	quad    float64   // (y − Fβ)ᵀV⁻¹(y − Fβ)
	logDet  float64   // ln|V| + ln|FᵀV⁻¹F|
}

var errSingular = errors.New("the surveyed positions can't carry this trend")

// newKriged makes room for n values and p trend terms; solve may be called often.
func newKriged(n, p int) *kriged {
	return &kriged{
		n: n, p: p,
		l:    blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: n, Stride: n, Data: make([]float64, n*n)},
		b:    blas64.General{Rows: p, Cols: n, Stride: n, Data: make([]float64, n*p)},
		g:    blas64.Triangular{Uplo: blas.Lower, Diag: blas.NonUnit, N: p, Stride: p, Data: make([]float64, p*p)},
		beta: make([]float64, p), w: make([]float64, n), inverse: make([]float64, n),
	}
}

// leastPivot is the square of the least pivot of FᵀV⁻¹F against its greatest at
// which trend terms still count as told apart.
const leastPivot = 1e-12

// solve fits one correlation, between the sites of each pair of values, and one
// nugget a value, in units of the sill. f is n × p.
//
// The factorisation is written out: for matrices of this size it takes half the
// time of the library's, and a map needs some fifty.
func (k *kriged) solve(f *mat.Dense, y, nugget []float64, rho func(i, j int) float64) error {
	n, p := k.n, k.p
	k.logDet = 0
	for i := range n {
		row := k.l.Data[i*n : i*n+i+1]
		for j := range i {
			row[j] = rho(i, j)
		}
		k.forward(row[:i])
		d := rho(i, i) + nugget[i] - dot(row[:i], row[:i])
		if !(d > 0) {
			return errSingular
		}
		row[i] = math.Sqrt(d)
		k.inverse[i] = 1 / row[i]
		k.logDet += math.Log(d)
	}
	for c := range p {
		column := k.b.Data[c*n : (c+1)*n]
		mat.Col(column, c, f)
		k.forward(column)
	}
	copy(k.w, y)
	k.forward(k.w)
	blas64.Syrk(blas.NoTrans, 1, k.b, 0, blas64.Symmetric{Uplo: blas.Lower, N: p, Stride: p, Data: k.g.Data})
	if _, ok := lapack64.Potrf(blas64.Symmetric{Uplo: blas.Lower, N: p, Stride: p, Data: k.g.Data}); !ok {
		return errSingular
	}
	low, high := math.Inf(1), 0.0
	for i := range p {
		d := k.g.Data[i*p+i]
		k.logDet += 2 * math.Log(d)
		low, high = min(low, d), max(high, d)
	}
	if low*low <= leastPivot*high*high {
		return errSingular
	}
	w, beta := blas64.Vector{N: n, Inc: 1, Data: k.w}, blas64.Vector{N: p, Inc: 1, Data: k.beta}
	blas64.Gemv(blas.NoTrans, 1, k.b, w, 0, beta)
	blas64.Trsv(blas.NoTrans, k.g, beta)
	blas64.Trsv(blas.Trans, k.g, beta)
	blas64.Gemv(blas.Trans, -1, k.b, beta, 1, w)
	k.quad = dot(k.w, k.w)
	return nil
}

// forward replaces x by L⁻¹x, as far as x goes.
func (k *kriged) forward(x []float64) {
	for j := range x {
		x[j] = (x[j] - dot(x[:j], k.l.Data[j*k.n:j*k.n+j])) * k.inverse[j]
	}
}

func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	for ; len(a) >= 4; a, b = a[4:], b[4:] {
		s0 += a[0] * b[0]
		s1 += a[1] * b[1]
		s2 += a[2] * b[2]
		s3 += a[3] * b[3]
	}
	for i, x := range a {
		s0 += x * b[i]
	}
	return s0 + s1 + s2 + s3
}

// predict gives the surface at m targets and the covariance of its errors in
// units of the sill. f0 holds the targets' trend (m × p), cross their correlation
// with the sites (n × m) and among their own (m × m, the upper half).
//
//	C = ρ₀₀ − AᵀA + (F₀ − AᵀB)(FᵀV⁻¹F)⁻¹(F₀ − AᵀB)ᵀ,  A = L⁻¹ρ(sites, targets)
func (k *kriged) predict(f0, cross *mat.Dense, among *mat.SymDense) (mean []float64, cov *mat.SymDense) {
	m, _ := f0.Dims()
	a := mat.DenseCopyOf(cross).RawMatrix()
	blas64.Trsm(blas.Left, blas.NoTrans, 1, k.l, a)
	mean = make([]float64, m)
	at := blas64.Vector{N: m, Inc: 1, Data: mean}
	blas64.Gemv(blas.NoTrans, 1, f0.RawMatrix(), blas64.Vector{N: k.p, Inc: 1, Data: k.beta}, 0, at)
	blas64.Gemv(blas.Trans, 1, a, blas64.Vector{N: k.n, Inc: 1, Data: k.w}, 1, at)

	d := mat.DenseCopyOf(f0).RawMatrix()
	blas64.Gemm(blas.Trans, blas.Trans, -1, a, k.b, 1, d)
	blas64.Trsm(blas.Right, blas.Trans, 1, k.g, d)
	cov = mat.NewSymDense(m, nil)
	cov.CopySym(among)
	blas64.Syrk(blas.Trans, -1, a, 1, cov.RawSymmetric())
	blas64.Syrk(blas.NoTrans, 1, d, 1, cov.RawSymmetric())
	return mean, cov
}

// leaveOneOut is each value's error when the others alone predict it:
//
//	e = (P y) / diag P,  P = V⁻¹ − V⁻¹F(FᵀV⁻¹F)⁻¹FᵀV⁻¹
//
// Dubrule 1983, Mathematical Geology 15:687-699 (from memory).
func (k *kriged) leaveOneOut() []float64 {
	n := k.n
	li := blas64.General{Rows: n, Cols: n, Stride: n, Data: make([]float64, n*n)} // L⁻¹
	for i := range n {
		li.Data[i*n+i] = 1
	}
	blas64.Trsm(blas.Left, blas.NoTrans, 1, k.l, li)
	h := blas64.General{Rows: n, Cols: k.p, Stride: k.p, Data: make([]float64, n*k.p)} // V⁻¹F G⁻ᵀ
	blas64.Gemm(blas.Trans, blas.Trans, 1, li, k.b, 0, h)
	blas64.Trsm(blas.Right, blas.Trans, 1, k.g, h)
	errs := make([]float64, n)
	blas64.Gemv(blas.Trans, 1, li, blas64.Vector{N: n, Inc: 1, Data: k.w}, 0, blas64.Vector{N: n, Inc: 1, Data: errs})
	for i := range n {
		column := blas64.Vector{N: n, Inc: n, Data: li.Data[i:]}
		row := blas64.Vector{N: k.p, Inc: 1, Data: h.Data[i*k.p:]}
		errs[i] /= blas64.Dot(column, column) - blas64.Dot(row, row)
	}
	return errs
}

// restricted is the restricted log likelihood with the sill profiled out, up to
// a constant. within is the sum of squares of repeats about their means with
// its degrees of freedom d; lambda the nugget of one reading in units of the sill.
//
//	−½ [(n − p + d) ln σ̂² + ln|V| + ln|FᵀV⁻¹F| + d ln λ],  σ̂² = (Q + S/λ)/(n − p + d)
//
// Patterson & Thompson 1971, Biometrika 58:545-554 (from memory), with the
// repeats' part written apart.
func (k *kriged) restricted(within, d, lambda float64) (loglik, sill float64) {
	df := float64(k.n-k.p) + d
	quad := k.quad
	if d > 0 {
		quad += within / lambda
	}
	sill = quad / df
	loglik = -0.5 * (df*math.Log(sill) + k.logDet)
	if d > 0 {
		loglik -= 0.5 * d * math.Log(lambda)
	}
	return loglik, sill
}
