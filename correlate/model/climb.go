package model

import "math"

// hill is a penalised likelihood that is climbed by Newton's steps.
type hill interface {
	// stand evaluates it at β.
	stand(beta []float64) error

	// height is the penalised likelihood there.
	height() float64

	// ascent is the step over the leading coefficients, the others held, and its
	// length in standard errors.
	ascent(free int) (step []float64, length float64)

	// swing is the most by which a step moves any row's log odds.
	swing(step []float64) float64

	// spread is Σw and wᵀΣw, Σ being the inverse information.
	spread(w []float64) (along []float64, variance float64)
}

const (
	firthSteps = 500
	firthLimit = 1e-11
	maxStep    = 5.0 // in any row's log odds
)

// climb starts at β, whose coefficients from free on are held there, and ends
// where a step is below the limit in standard errors. Steps are shortened so that
// no row's log odds move too far, and halved until the likelihood rises.
func climb(h hill, beta []float64, free int, limit float64) (top []float64, err error) {
	if err := h.stand(beta); err != nil {
		return nil, err
	}
	if free == 0 {
		return beta, nil
	}
	for range firthSteps {
		step, length := h.ascent(free)
		if length <= limit {
			return beta, nil
		}
		if swing := h.swing(step); swing > maxStep {
			for j := range step {
				step[j] *= maxStep / swing
			}
		}
		from := h.height()
		for halving := 0; ; halving++ {
			next := append([]float64(nil), beta...)
			for j, s := range step {
				next[j] += s
			}
			err := h.stand(next)
			if err == nil && h.height() >= from-1e-12*(1+math.Abs(from)) {
				beta = next
				break
			}
			if halving == 40 {
				return nil, errFirth
			}
			for j := range step {
				step[j] /= 2
			}
		}
	}
	return nil, errFirth
}
