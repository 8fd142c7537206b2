package model

import (
	"math"
)

// Profile is a linear function of log odds by the penalised likelihood.
type Profile struct {
	Estimate            // its standard error is from the inverse information
	Chi2     float64    // twice the fall of l* where the function is held at zero
	P        float64    // of Chi2, on one degree of freedom
	Limits   [2]float64 // the ends of the profile interval
}

// Profile tests wᵀβ = 0 and gives the interval at the level, 0.95 say: all c for
// which twice the fall of the penalised likelihood, maximised over β with
// wᵀβ = c, stays within the point of χ² on one degree of freedom.
//
// The coefficient of the column j with the largest |wⱼ| gives way to c, which
// changes the penalty by a constant only.
func (f *LogisticFit) Profile(w []float64, level float64) (Profile, error) {
	if len(w) != len(f.Design.Columns) || !(level > 0 && level < 1) {
		panic("model: a profile needs a weight for each column and a level between 0 and 1")
	}
	p := Profile{Estimate: f.Linear(w)}
	t := f.turn(w)
	last := len(t.estimate) - 1
	at := append([]float64(nil), t.estimate...) // the last fit
	// fall is twice the fall of l* at wᵀβ = c. Fits start from the last one, moved
	// along the profile's direction at the estimate.
	fall := func(c float64) (float64, error) {
		m := &firth{columns: t.columns, y: f.Y}
		beta := append([]float64(nil), at...)
		for j, g := range t.direction {
			beta[j] += g * (c - at[last])
		}
		beta[last] = c
		if err := m.fit(beta, last, profileLimit); err != nil {
			return 0, err
		}
		at = m.beta
		return 2 * (t.likelihood - m.likelihood), nil
	}
	var err error
	if p.Chi2, err = fall(0); err != nil {
		return Profile{}, err
	}
	p.Chi2 = math.Max(0, p.Chi2)
	p.P = chiUpper(p.Chi2, 1)
	z := math.Sqrt2 * math.Erfcinv(1-level)
	for side, sign := range []float64{-1, 1} {
		copy(at, t.estimate)
		// In the signed root of the fall the profile is nearly straight.
		rise := func(s float64) (float64, error) {
			v, err := fall(p.Value + sign*s)
			if err != nil {
				return 0, err
			}
			return math.Copysign(math.Sqrt(math.Max(0, v)), s) - z, nil
		}
		s, err := crossing(rise, z*p.SE, 0.3*p.SE)
		if err != nil {
			return Profile{}, err
		}
		p.Limits[side] = p.Value + sign*s
	}
	return p, nil
}

// turned is the same model with wᵀβ as its last coefficient.
type turned struct {
	columns    [][]float64
	estimate   []float64 // β̂ in the new coefficients
	direction  []float64 // of the profile there, per unit of wᵀβ: Σw/(wᵀΣw)
	likelihood float64   // l* there
}

// profileLimit is enough: l* is flat at its maximum, so that it errs by the square.
const profileLimit = 1e-7

func (f *LogisticFit) turn(w []float64) turned {
	pivot := 0
	for j := range w {
		if math.Abs(w[j]) > math.Abs(w[pivot]) {
			pivot = j
		}
	}
	x := f.Design.Columns[pivot].Values
	var t turned
	g := f.firth.basis.solveT(w)
	along := f.firth.basis.solve(g)
	for j, column := range f.Design.Columns {
		if j == pivot {
			continue
		}
		v := column.Values
		if w[j] != 0 {
			v = make([]float64, len(v))
			for i := range v {
				v[i] = column.Values[i] - x[i]*w[j]/w[pivot]
			}
		}
		t.columns = append(t.columns, v)
		t.estimate = append(t.estimate, f.Beta[j])
		t.direction = append(t.direction, along[j]/dot(g, g))
	}
	last := make([]float64, len(x))
	for i := range last {
		last[i] = x[i] / w[pivot]
	}
	t.columns = append(t.columns, last)
	t.estimate = append(t.estimate, dot(w, f.Beta))
	t.direction = append(t.direction, 1)
	// |det| of the change of coefficients is |1/wⱼ|, squared under ½ ln.
	t.likelihood = f.LogLikelihood - math.Log(math.Abs(w[pivot]))
	return t
}

// ProfiledCoefficient is a coefficient with its identity.
type ProfiledCoefficient struct {
	Of, Level, Against string
	Profile
}

// Coefficients lists the coefficients in the design's order, log odds with
// profile intervals at 95 %.
func (f *LogisticFit) Coefficients() ([]ProfiledCoefficient, error) {
	list := make([]ProfiledCoefficient, len(f.Beta))
	w := make([]float64, len(f.Beta))
	for j, c := range f.Design.Columns {
		clear(w)
		w[j] = 1
		p, err := f.Profile(w, 0.95)
		if err != nil {
			return nil, err
		}
		list[j] = ProfiledCoefficient{c.Of, c.Level, c.Against, p}
	}
	return list, nil
}

// Compare compares every pair of a family's cells, as Compare does, by
// Bonferroni over the pairs that are compared.
func (f *LogisticFit) Compare(family Family) ([]Pair, error) {
	var pairs []Pair
	var weights [][]float64
	for a := range family.Cells {
		for b := range a {
			if !family.together(family.Cells[a], family.Cells[b]) {
				continue
			}
			w := f.Design.Weights(family.Cells[a]...)
			for j, v := range f.Design.Weights(family.Cells[b]...) {
				w[j] -= v
			}
			pairs = append(pairs, Pair{A: a, B: b})
			weights = append(weights, w)
		}
	}
	for i, w := range weights {
		p, err := f.Profile(w, 1-0.05/float64(len(pairs)))
		if err != nil {
			return nil, err
		}
		pairs[i].Estimate = p.Estimate
		pairs[i].PSingle = p.P
		pairs[i].P = math.Min(1, float64(len(pairs))*p.P)
		pairs[i].CI95 = p.Limits
	}
	return pairs, nil
}
