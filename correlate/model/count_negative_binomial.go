package model

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NegativeBinomialFit is a maximum-likelihood fit of counts that vary more than
// chance.
//
//	E y = μ = exposure · exp(Xβ),  var y = μ + μ²/size
//
// Standard errors and tests hold size at its estimate.
//
// Lawless (1987), Canadian Journal of Statistics 15:209–225.
type NegativeBinomialFit struct {
	Size   float64
	Mean   []float64
	counts *CountFit
	glm    *loglinear
}

// NegativeBinomial fits the same counts, size and coefficients in turn until
// neither moves.
//
// Errors: ErrUnlikely where the likelihood has no finite size.
func (f *CountFit) NegativeBinomial() (*NegativeBinomialFit, error) {
	nb := &NegativeBinomialFit{counts: f}
	var start []float64
	size, err := likeliestSize(f.Y, f.Mean, 0)
	if err != nil {
		return nil, err
	}
	for range maxIterations {
		m := nb.model(allColumns(f.Design), size)
		if err := m.fit(start); err != nil {
			return nil, err
		}
		if len(m.null) == 0 {
			start = m.beta
		}
		next, err := likeliestSize(f.Y, m.mean, size)
		if err != nil {
			return nil, err
		}
		if math.Abs(next-size) <= 1e-11*size {
			nb.Size, nb.Mean, nb.glm = size, m.mean, m
			return nb, nil
		}
		size = next
	}
	return nil, errNoConvergence
}

func (nb *NegativeBinomialFit) model(columns []int, size float64) *loglinear {
	m := nb.counts.columns(columns)
	m.size = size
	return m
}

// Partial tests every effect but the intercept by the drop in deviance, size
// held at the full fit.
func (nb *NegativeBinomialFit) Partial() ([]Test, error) {
	build := func(columns []int) *loglinear { return nb.model(columns, nb.Size) }
	return nb.counts.Design.each(func(effect int) (Test, error) {
		drop, err := nb.counts.drop(effect, build, nb.glm.deviance)
		return chiTest(nb.counts.Design.Effects[effect], drop), err
	})
}

// Linear estimates the linear function wᵀβ on the scale of the natural log,
// with the normal distribution in place of Student's t.
func (nb *NegativeBinomialFit) Linear(w []float64) Estimate {
	value, se := nb.glm.linear(w)
	return Estimate{Value: value, SE: se, DF: math.Inf(1)}
}

// Coefficients lists the coefficients in the design's order, on the scale of
// the natural log; those without a finite limit are not OK.
func (nb *NegativeBinomialFit) Coefficients() ([]Coefficient, error) {
	return nb.counts.Design.coefficients(func(w []float64, c *Coefficient) error {
		c.Estimate = nb.Linear(w)
		return nil
	})
}

// likeliestSize maximises the likelihood of the size θ at the given means.
//
//	dl/dθ = Σ {ψ(y+θ) − ψ(θ) − ln(1 + μ/θ) + (μ − y)/(μ + θ)}
//
// by Newton's steps in ln θ, kept inside a bracket. start 0 means none.
func likeliestSize(y, mean []float64, start float64) (float64, error) {
	// For θ → ∞ the derivative is {Σ (y − μ)² − y} / 2θ².
	var excess, inverse float64
	n := 0.0
	for i, mu := range mean {
		if mu > 0 {
			excess += (mu-y[i])*(mu-y[i]) - y[i]
			inverse += (y[i]/mu - 1) * (y[i]/mu - 1)
			n++
		}
	}
	if excess <= 0 {
		return 0, ErrUnlikely
	}
	theta := start
	if theta == 0 {
		theta = max(1e-6, min(1e6, n/inverse))
	}
	// The score falls through zero at the maximum: positive below it.
	lo, hi := 0.0, math.Inf(1)
	for range maxIterations {
		var score, slope float64
		for i, mu := range mean {
			if mu > 0 {
				s, d := sizeScore(y[i], mu, theta)
				score += s
				slope += d
			}
		}
		if score > 0 {
			lo = theta
		} else {
			hi = theta
		}
		next := theta * 2
		if score < 0 {
			next = theta / 2
		}
		// In ln θ the second derivative is θ²l″ + θl′.
		if curve := theta*theta*slope + theta*score; curve < 0 {
			next = theta * math.Exp(math.Max(-1, math.Min(1, -theta*score/curve)))
		}
		if !(next > lo && next < hi) {
			next = max(theta/2, min(theta*2, math.Sqrt(lo*hi))) // an open bracket is closed by steps
		}
		if math.Abs(next-theta) <= 1e-13*theta {
			return next, nil
		}
		if theta = next; !(theta > 1e-9 && theta < 1e9) {
			return 0, ErrUnlikely
		}
	}
	return theta, nil
}

// sizeScore is one row's derivative of the log likelihood by θ, and its own.
func sizeScore(y, mu, theta float64) (score, slope float64) {
	if y <= 200 {
		for j := 0.0; j < y; j++ {
			score += 1 / (theta + j)
			slope -= 1 / ((theta + j) * (theta + j))
		}
	} else {
		score = mathext.Digamma(theta+y) - mathext.Digamma(theta)
		slope = mathext.Zeta(2, theta+y) - mathext.Zeta(2, theta)
	}
	score += -math.Log1p(mu/theta) + (mu-y)/(mu+theta)
	slope += mu/(theta*(mu+theta)) - (mu-y)/((mu+theta)*(mu+theta))
	return score, slope
}
