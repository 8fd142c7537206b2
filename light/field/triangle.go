package field

import "math"

// triangle is a lower triangular matrix of order n, row after row, each n wide.
//
// It is written out because for matrices of these orders it takes half the time
// of the library's, and a map needs some thirty.
type triangle struct {
	n       int
	at      []float64
	inverse []float64 // of the diagonal
}

func newTriangle(n int) triangle { return triangle{n, make([]float64, n*n), make([]float64, n)} }

// row is the row's part up to the diagonal.
func (t *triangle) row(i int) []float64 { return t.at[i*t.n : i*t.n+i+1] }

// factor replaces the lower half of a symmetric matrix by L with LLᵀ = it, and
// gives the logarithm of its determinant; ok is false if it is not positive
// definite.
func (t *triangle) factor() (logDet float64, ok bool) {
	product := 1.0
	for i := range t.n {
		row := t.row(i)
		t.forward(row[:i])
		d := row[i] - dot(row[:i], row[:i])
		if !(d > 0) {
			return 0, false
		}
		row[i] = math.Sqrt(d)
		t.inverse[i] = 1 / row[i]
		if product *= d; product < 1e-200 || product > 1e200 { // one logarithm for many
			logDet, product = logDet+math.Log(product), 1
		}
	}
	return logDet + math.Log(product), true
}

// forward replaces x by L⁻¹x, as far as x goes.
func (t *triangle) forward(x []float64) { t.forwardFrom(0, x) }

// forwardFrom is forward for an x whose elements before the j-th are zero and
// left out.
func (t *triangle) forwardFrom(j int, x []float64) {
	for i := range x {
		row := t.at[(i+j)*t.n+j:]
		x[i] = (x[i] - dot(x[:i], row[:i])) * t.inverse[i+j]
	}
}

// backward replaces x by L⁻ᵀx.
func (t *triangle) backward(x []float64) {
	for i := t.n - 1; i >= 0; i-- {
		x[i] *= t.inverse[i]
		for j, l := range t.row(i)[:i] {
			x[j] -= l * x[i]
		}
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

// addScaled adds c times x to dst.
func addScaled(dst []float64, c float64, x []float64) {
	for i, v := range x {
		dst[i] += c * v
	}
}
