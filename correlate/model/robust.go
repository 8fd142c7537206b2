package model

// hc3 gives the middle of the covariance that holds under unequal spread, in
// the coordinates of Q.
//
//	cov β = R⁻¹ M R⁻ᵀ,  M = Σ qᵢ qᵢᵀ eᵢ² / (1 − hᵢ)²
//
// ok is false where a row has hᵢ = 1, or where the fit is exact.
//
// MacKinnon, White (1985), Journal of Econometrics 29:305–325 (their third
// estimator); Long, Ervin (2000), The American Statistician 54:217–224.
func (f *Fit) hc3() (m [][]float64, ok bool) {
	if f.Exact {
		return nil, false
	}
	p := len(f.basis.q)
	m = make([][]float64, p)
	for a := range m {
		m[a] = make([]float64, p)
	}
	for i, e := range f.Residuals {
		if f.Alone(i) {
			return nil, false
		}
		e /= 1 - f.Hat[i]
		for a, qa := range f.basis.q {
			for c, qc := range f.basis.q[:a+1] {
				m[a][c] += e * e * qa[i] * qc[i]
			}
		}
	}
	for a := range m {
		for c := range a {
			m[c][a] = m[a][c]
		}
	}
	return m, true
}

// Alone tells whether row i alone determines a coefficient, so that its
// residual is zero whatever its value.
func (f *Fit) Alone(i int) bool { return f.Hat[i] > 1-1e-10 }

// quadratic is gᵀ M g.
func quadratic(g []float64, m [][]float64) float64 {
	var s float64
	for a, ga := range g {
		s += ga * dot(m[a], g)
	}
	return s
}
