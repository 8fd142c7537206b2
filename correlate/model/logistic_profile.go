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
	return profiled(f.Linear(w), f.turn(w), level, func(columns [][]float64) hill { return newFirth(columns, f.Y) })
}

// profiled is the profile of wᵀβ, whose estimate is e, in the model that was turned so that
// it is the last coefficient; of gives its likelihood over other columns.
func profiled(e Estimate, t turned, level float64, of func(columns [][]float64) hill) (Profile, error) {
	if !(level > 0 && level < 1) {
		panic("model: a profile needs a level between 0 and 1")
	}
	p := Profile{Estimate: e}
	last := len(t.estimate) - 1
	at := append([]float64(nil), t.estimate...) // the last fit
	// fall is twice the fall of l* at wᵀβ = c. Fits start from the last one, moved
	// along the profile's direction at the estimate.
	fall := func(c float64) (float64, error) {
		m := of(t.columns)
		beta := append([]float64(nil), at...)
		for j, g := range t.direction {
			beta[j] += g * (c - at[last])
		}
		beta[last] = c
		beta, err := climb(m, beta, last, profileLimit)
		if err != nil {
			return 0, err
		}
		at = beta
		return 2 * (t.likelihood - m.height()), nil
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

func (f *LogisticFit) turn(w []float64) turned { return f.Design.turn(f.Beta, f.firth, w) }

// turn turns a model whose likelihood stands at its top, β.
func (d *Design) turn(beta []float64, top hill, w []float64) turned {
	if len(w) != len(d.Columns) {
		panic("model: a profile needs a weight for each column")
	}
	var t turned
	columns, last := d.turned(w)
	t.columns = append(columns, last)
	along, variance := top.spread(w)
	p := pivot(w)
	for j := range d.Columns {
		if j != p {
			t.estimate = append(t.estimate, beta[j])
			t.direction = append(t.direction, along[j]/variance)
		}
	}
	t.estimate = append(t.estimate, dot(w, beta))
	t.direction = append(t.direction, 1)
	// |det| of the change of coefficients is |1/wⱼ|, squared under ½ ln.
	t.likelihood = top.height() - math.Log(math.Abs(w[p]))
	return t
}

// Coefficients lists the coefficients in the design's order, log odds with
// profile intervals at 95 %.
func (f *LogisticFit) Coefficients() ([]Coefficient, error) {
	return f.Design.coefficients(func(w []float64, c *Coefficient) error {
		p, err := f.Profile(w, 0.95)
		c.Estimate, c.Profile = p.Estimate, &p
		return err
	})
}

// pairs compares by profiles, and by Bonferroni over the pairs that are compared.
func (f *LogisticFit) pairs(family Family, list []Difference, _ int) ([]Pair, error) {
	return profiledPairs(f.Profile, f.Design.Rows, f.Y, family, list)
}

func profiledPairs(profile func(w []float64, level float64) (Profile, error), rows func(cell []At) []int, y []float64, family Family, list []Difference) ([]Pair, error) {
	pairs := make([]Pair, len(list))
	n := float64(len(list))
	for i, of := range list {
		p, err := profile(of.W, 1-0.05/n)
		if err != nil {
			return nil, err
		}
		pairs[i] = Pair{A: of.A, B: of.B, Estimate: p.Estimate, P: math.Min(1, n*p.P), CI95: p.Limits, PSingle: p.P, Critical: p.quantile(0.05 / n)}
		pairs[i].open(opens(y, rows(family.Cells[of.A]), rows(family.Cells[of.B])))
	}
	return pairs, nil
}
