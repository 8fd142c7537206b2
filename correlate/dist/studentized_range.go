package dist

import "math"

// StudentizedRange is the distribution of the range of k independent standard
// normal values over an independent estimate of their standard deviation with
// ν degrees of freedom. It gives the simultaneous intervals and p values of all
// pairwise comparisons among k means (Tukey 1953, Kramer 1956).
//
// With s = √(χ²_ν/ν) of density f_ν and φ, Φ the standard normal density and
// distribution,
//
//	P(Q > q) = ∫₀^∞ f_ν(s) R(qs) ds
//	R(w)     = k ∫ φ(z) {Φ(z)^(k−1) − [Φ(z) − Φ(z−w)]^(k−1)} dz
//
// [1]. Both integrals are taken by the trapezoid rule, which converges
// exponentially for such integrands [2]: the inner one in z, the outer one in
// ln(qs) on a grid that depends neither on q nor, but for how many of its points
// are used, on ν. R is therefore computed once per grid point and shared by every
// q, and by other degrees of freedom (With). Nothing is subtracted from one, so
// the upper tail keeps its relative accuracy however small it is.
//
// A StudentizedRange and those made of it by With remember R together and are not
// safe for concurrent use.
//
//	[1] Copenhaver, Holland (1988). J. Statist. Comput. Simul. 30:1–15.
//	[2] Trefethen, Weideman (2014). SIAM Review 56:385–458.
type StudentizedRange struct {
	*rangeTail
	df      float64
	stride  int64   // of the outer grid's points every so manieth is used
	step    float64 // between those, in ln w
	logNorm float64 // ln of the density of ln s at s = 1
}

// rangeTail is R of k groups.
type rangeTail struct {
	k     int
	tails map[int64]float64 // at w = exp(j·gridUnit)

	zStep       float64   // of the inner grid
	cdf, weight []float64 // Φ and k φ Φ^(k−1) dz on it
}

// gridUnit is the distance between points of the outer grid, in ln w: far below
// any step that is taken.
const gridUnit = 0x1p-40

const (
	zFirst = -7.0
	zLast  = 34.0
	zReach = 6.5  // the inner integrand is below 1e-17 of its peak beyond w/2 ± zReach
	zRight = 8.5  // and beyond this for small w
	wLast  = 53.0 // R is below the smallest float64 here
)

// NewStudentizedRange is the studentized range of k groups with df degrees of
// freedom; df may be +Inf and need not be whole. It panics unless k ≥ 2 and
// df ≥ 1.
func NewStudentizedRange(k int, df float64) *StudentizedRange {
	if k < 2 || !(df >= 1) {
		panic("dist: studentized range needs k >= 2 and df >= 1")
	}
	r := &rangeTail{k: k, tails: map[int64]float64{}}
	r.zStep = 0.25 * r.finer()
	n := int((zLast-zFirst)/r.zStep) + 1
	r.cdf, r.weight = make([]float64, n), make([]float64, n)
	for i := range n {
		z := zFirst + float64(i)*r.zStep
		r.cdf[i] = normalCDF(z)
		r.weight[i] = r.zStep * float64(k) * math.Exp(-z*z/2+float64(k-1)*math.Log(r.cdf[i])) / math.Sqrt(2*math.Pi)
	}
	return r.with(df)
}

// finer is what many groups, which make both integrands steeper, take off both
// steps: found by halving them until nothing changed, for k up to 500.
func (r *rangeTail) finer() float64 { return math.Min(1, math.Pow(20/float64(r.k), 0.32)) }

// With is the studentized range of as many groups with other degrees of freedom.
func (r *StudentizedRange) With(df float64) *StudentizedRange {
	if !(df >= 1) {
		panic("dist: studentized range needs df >= 1")
	}
	return r.with(df)
}

func (r *rangeTail) with(df float64) *StudentizedRange {
	if df > 1e22 {
		df = math.Inf(1) // the same to the last digit
	}
	s := &StudentizedRange{rangeTail: r, df: df, logNorm: math.Ln2 + stirling(df/2)}
	// The step is rounded down to a power of two or three quarters of one, so that
	// most of its points are those of other degrees of freedom too.
	fraction, exponent := math.Frexp(r.finer() * densityStep(df/2))
	s.step = math.Ldexp(0.5, exponent)
	if fraction >= 0.75 {
		s.step *= 1.5
	}
	s.stride = int64(s.step / gridUnit)
	return s
}

// densityStep is the step in ln s at which the trapezoid rule integrates the
// density of ln s to 1e-15: its Fourier transform |Γ(x + ib)| / Γ(x) at
// b = π/step, x = ν/2, is the error of the rule.
func densityStep(x float64) float64 {
	if x > 1e4 {
		return 0.5 / math.Sqrt(2*x) // a normal density
	}
	lg, _ := math.Lgamma(x)
	b := 20.0
	for (x-0.5)*math.Log(math.Hypot(x, b))-b*math.Atan2(b, x)-x+0.92-lg > -35 {
		b *= 1.02
	}
	return math.Pi / b
}

// stirling is x ln x − x − ln Γ(x), by Stirling's series where the direct
// difference would cancel.
func stirling(x float64) float64 {
	if x < 15 {
		lg, _ := math.Lgamma(x)
		return x*math.Log(x) - x - lg
	}
	y := 1 / (x * x)
	return 0.5*math.Log(x/(2*math.Pi)) - (1.0/12-y*(1.0/360-y*(1.0/1260-y/1680)))/x
}

func normalCDF(z float64) float64 { return 0.5 * math.Erfc(-z/math.Sqrt2) }

// CDF is P(Q ≤ q), to about 1e-12 absolute; 0 for q ≤ 0.
func (r *StudentizedRange) CDF(q float64) float64 { return 1 - r.Survival(q) }

// Survival is P(Q > q), to about 1e-12 relative; 1 for q ≤ 0 and NaN for NaN.
func (r *StudentizedRange) Survival(q float64) float64 {
	switch {
	case math.IsNaN(q):
		return math.NaN()
	case q <= 0:
		return 1
	case math.IsInf(q, 1):
		return 0
	case math.IsInf(r.df, 1):
		return math.Min(1, r.tail(q))
	}
	lnq := math.Log(q)
	term := func(j int) float64 {
		u := float64(j)*r.step - lnq // ln s
		if g := r.logNorm + r.df*(u-math.Expm1(2*u)/2); g > -745 {
			return math.Exp(g) * r.gridTail(j)
		}
		return 0
	}
	// The terms rise to one peak and fall on either side. R(w) ≈ exp(−w²/4)
	// puts it near s = 1/√(1 + q²/2ν).
	top := int((lnq - 0.5*math.Log1p(q*q/(2*r.df))) / r.step)
	peak := term(top)
	for {
		if next := term(top + 1); next > peak {
			top, peak = top+1, next
		} else if next = term(top - 1); next > peak {
			top, peak = top-1, next
		} else {
			break
		}
	}
	sum := peak
	for j := top + 1; ; j++ {
		t := term(j)
		sum += t
		if t <= 1e-17*sum {
			break
		}
	}
	// To the left the terms may fall no faster than exp(ν·ln s), so what is left
	// out is a multiple 1/(1 − exp(−ν·step)) of the last term.
	for j, stop := top-1, 1e-16*-math.Expm1(-r.df*r.step); ; j-- {
		t := term(j)
		sum += t
		if t <= stop*sum {
			break
		}
	}
	return math.Min(1, r.step*sum)
}

// gridTail is R at the j-th point of the outer grid.
func (r *StudentizedRange) gridTail(j int) float64 {
	at := int64(j) * r.stride
	x := float64(at) * gridUnit
	if x < -37 || r.k > 2 && x < -19 { // 1 − R(w) is below w^(k−1)
		return 1
	}
	t, ok := r.tails[at]
	if !ok {
		t = r.tail(math.Exp(x))
		r.tails[at] = t
	}
	return t
}

// tail is R(w), the upper tail of the range where the standard deviation is
// known. With x = Φ(z−w)/Φ(z) the braces of the formula are
// Φ(z)^(k−1) {1 − (1−x)^(k−1)}.
func (r *rangeTail) tail(w float64) float64 {
	if w >= wLast {
		return 0
	}
	first := max(0, int((w/2-zReach-zFirst)/r.zStep))
	last := min(len(r.cdf)-1, int((math.Max(w/2+zReach, zRight)-zFirst)/r.zStep)+1)
	sum := 0.0
	for i := first; i <= last; i++ {
		x := normalCDF(zFirst+float64(i)*r.zStep-w) / r.cdf[i]
		sum += r.weight[i] * oneMinusPower(x, r.k-1)
	}
	return sum
}

// oneMinusPower is 1 − (1−x)^m for 0 ≤ x ≤ 1, without cancellation:
// x times the geometric series of y = 1−x, doubled along the bits of m.
func oneMinusPower(x float64, m int) float64 {
	y := 1 - x
	if y <= 0 {
		return 1
	}
	// sum = 1 + y + … + y^(n−1) and power = y^n for n the leading bits of m.
	sum, power := 1.0, y
	for bit := highestBit(m) >> 1; bit > 0; bit >>= 1 {
		sum *= 1 + power
		power *= power
		if m&bit != 0 {
			sum += power
			power *= y
		}
	}
	return x * sum
}

func highestBit(m int) int {
	b := 1
	for b<<1 <= m {
		b <<= 1
	}
	return b
}

// InverseSurvival is the q with P(Q > q) = p, the upper p point, to about 1e-12
// relative. It is +Inf for p = 0 and 0 for p = 1,
// and panics for p outside [0, 1].
func (r *StudentizedRange) InverseSurvival(p float64) float64 {
	switch {
	case !(p >= 0 && p <= 1):
		panic("dist: probability outside [0, 1]")
	case p == 0:
		return math.Inf(1)
	case p == 1:
		return 0
	}
	// In ln q the logarithm of the tail is smooth, and straight far out where df
	// is finite, so a secant that is kept inside its bracket finds it fast.
	goal := math.Log(p)
	f := func(x float64) float64 { return math.Log(r.Survival(math.Exp(x))) - goal }
	lo, hi := math.Log(2.5), math.Log(4.5)
	flo, fhi := f(lo), f(hi)
	for fhi > 0 {
		lo, flo = hi, fhi
		hi += 0.7
		fhi = f(hi)
	}
	for flo < 0 {
		hi, fhi = lo, flo
		lo -= 0.7
		flo = f(lo)
	}
	return math.Exp(Root(f, lo, flo, hi, fhi, 1e-14))
}
