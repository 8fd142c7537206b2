package power

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"parstead/correlate/dist"
)

const (
	mostMeans  = 1_000_000 // replicates: beyond those of any trial
	mostLambda = 1e6       // beyond this power is one
)

// Means is a comparison of level means whose replicates spread by SD around
// them. Two of the means lie Difference apart and all others half way between,
// which is where the test of all levels together has the least power:
//
//	λ = n Σ (μᵢ − μ̄)² / σ² = n Δ² / 2σ²
//
// Reference: Scheffé (1959). The Analysis of Variance, section 3.3.
type Means struct {
	Layout
	SD         float64 // σ, > 0, of one replicate
	Difference float64 // Δ, > 0, in the same unit
}

// Power is the chance that the F test of all levels together shows that they
// differ, with n replicates per level; 0 where no degree of freedom is left.
//
//	P(F > f₀.₉₅(k − 1, df)), F non-central with λ
func (m Means) Power(n int) float64 {
	df := float64(m.DF(n))
	if df < 1 {
		return 0
	}
	d1 := float64(m.Levels - 1)
	f := distuv.F{D1: d1, D2: df}.Quantile(1 - Level)
	return dist.NoncentralF{D1: d1, D2: df, Lambda: m.lambda(n)}.Survival(f)
}

func (m Means) lambda(n int) float64 {
	m.mustHold()
	if !(m.SD > 0 && m.Difference > 0) {
		panic("power: spread and difference must be above zero")
	}
	return math.Min(mostLambda, float64(n)/2*(m.Difference/m.SD)*(m.Difference/m.SD))
}

// PairPower is the chance that one pair of levels which lies Difference apart is
// told apart the right way round by its interval, which holds for all pairs at
// once.
//
//	P(T > q₀.₉₅(k, df)/√2), T non-central with δ = Δ/(σ√(2/n))
//
// q is the studentized range (Tukey).
func (m Means) PairPower(n int) float64 {
	df := m.DF(n)
	if df < 1 {
		return 0
	}
	delta := math.Sqrt(m.lambda(n))
	q := dist.NewStudentizedRange(m.Levels, float64(df)).InverseSurvival(Level)
	return dist.NoncentralT{Nu: float64(df), Delta: delta}.Survival(q / math.Sqrt2)
}

// Replicates is the fewest per level with at least that Power.
//
// Errors: ErrOutOfReach beyond a million.
func (m Means) Replicates(power float64) (int, error) {
	return fewest(m.least(), mostMeans, func(n int) bool { return m.Power(n) >= power })
}

// PairReplicates is the fewest per level with at least that PairPower.
//
// Errors: ErrOutOfReach beyond a million.
func (m Means) PairReplicates(power float64) (int, error) {
	return fewest(m.least(), mostMeans, func(n int) bool { return m.PairPower(n) >= power })
}

// Smallest is the smallest difference that n replicates per level show with the
// given power; +Inf where no degree of freedom is left or none does.
func (m Means) Smallest(n int, power float64) float64 {
	if m.DF(n) < 1 {
		return math.Inf(1)
	}
	short := func(log float64) float64 {
		m.Difference = m.SD * math.Exp(log)
		return m.Power(n) - power
	}
	low, high := -12.0, 0.0
	for short(high) < 0 {
		if low, high = high, high+1; high > 20 {
			return math.Inf(1)
		}
	}
	return m.SD * math.Exp(dist.Root(short, low, short(low), high, short(high), 1e-10))
}
