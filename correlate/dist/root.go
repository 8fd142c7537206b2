package dist

import "math"

// Root finds where f, with f(lo) = flo and f(hi) = fhi of opposite signs,
// crosses zero, to tol in x: Brent's safeguarded secant and inverse quadratic
// interpolation.
//
// Reference: Brent (1973). Algorithms for Minimization without Derivatives,
// chapter 4.
func Root(f func(float64) float64, lo, flo, hi, fhi, tol float64) float64 {
	a, fa, b, fb := lo, flo, hi, fhi
	if math.IsInf(fa, 0) || math.IsInf(fb, 0) {
		// Interpolation needs finite ends.
		fa, fb = math.Copysign(math.Min(math.Abs(fa), 1e300), fa), math.Copysign(math.Min(math.Abs(fb), 1e300), fb)
	}
	c, fc := a, fa
	d := b - a
	e := d
	for range 200 {
		if math.Signbit(fb) == math.Signbit(fc) {
			c, fc = a, fa
			d = b - a
			e = d
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		near := 2*epsilon*math.Abs(b) + tol/2
		m := (c - b) / 2
		if math.Abs(m) <= near || fb == 0 {
			return b
		}
		if math.Abs(e) >= near && math.Abs(fa) > math.Abs(fb) {
			var p, q float64
			s := fb / fa
			if a == c {
				p, q = 2*m*s, 1-s
			} else {
				u, v := fa/fc, fb/fc
				p = s * (2*m*u*(u-v) - (b-a)*(v-1))
				q = (u - 1) * (v - 1) * (s - 1)
			}
			if p > 0 {
				q = -q
			}
			p = math.Abs(p)
			if 2*p < math.Min(3*m*q-math.Abs(near*q), math.Abs(e*q)) {
				e, d = d, p/q
			} else {
				d, e = m, m
			}
		} else {
			d, e = m, m
		}
		a, fa = b, fb
		if math.Abs(d) > near {
			b += d
		} else {
			b += math.Copysign(near, m)
		}
		fb = f(b)
	}
	return b
}

const epsilon = 0x1p-52
