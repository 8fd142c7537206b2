//go:build worlds

package claimsworlds

import "math"

func square(p int) [][]float64 {
	m := make([][]float64, p)
	for i := range m {
		m[i] = make([]float64, p)
	}
	return m
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i := range a {
		s += a[i] * b[i]
	}
	return s
}

func times(a, b [][]float64) [][]float64 {
	m := square(len(a))
	for i := range a {
		for j := range a {
			for k := range a {
				m[i][j] += a[i][k] * b[k][j]
			}
		}
	}
	return m
}

// inverse by Gauss and Jordan with pivoting.
func inverse(a [][]float64) [][]float64 {
	p := len(a)
	m, inv := square(p), square(p)
	for i := range p {
		copy(m[i], a[i])
		inv[i][i] = 1
	}
	for c := range p {
		best := c
		for r := c + 1; r < p; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[best][c]) {
				best = r
			}
		}
		m[c], m[best], inv[c], inv[best] = m[best], m[c], inv[best], inv[c]
		pivot := m[c][c]
		for k := range p {
			m[c][k] /= pivot
			inv[c][k] /= pivot
		}
		for r := range p {
			if factor := m[r][c]; r != c && factor != 0 {
				for k := range p {
					m[r][k] -= factor * m[c][k]
					inv[r][k] -= factor * inv[c][k]
				}
			}
		}
	}
	return inv
}
