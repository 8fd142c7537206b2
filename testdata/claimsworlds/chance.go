package claimsworlds

import (
	"math"
	"math/rand/v2"
)

// chance is a stream of random numbers fixed by one seed.
type chance struct{ *rand.Rand }

func newChance(seed uint64) chance {
	// The second word is fixed so that a world is named by one seed alone.
	return chance{rand.New(rand.NewPCG(seed, 0x9e3779b97f4a7c15))}
}

// t3 draws from Student's t with 3 degrees of freedom (variance 3).
func (c chance) t3() float64 {
	s := 0.0
	for range 3 {
		z := c.NormFloat64()
		s += z * z
	}
	return c.NormFloat64() / math.Sqrt(s/3)
}

// gamma draws from the gamma distribution with that shape and scale 1.
func (c chance) gamma(shape float64) float64 {
	if shape < 1 {
		return c.gamma(shape+1) * math.Pow(c.Float64(), 1/shape)
	}
	d := shape - 1.0/3
	k := 1 / math.Sqrt(9*d)
	for {
		z := c.NormFloat64()
		v := (1 + k*z) * (1 + k*z) * (1 + k*z)
		if v > 0 && math.Log(c.Float64()) < z*z/2+d-d*v+d*math.Log(v) {
			return d * v
		}
	}
}

// poisson draws by waiting times; the means here are small enough for that.
func (c chance) poisson(mean float64) float64 {
	n, clock := 0.0, c.ExpFloat64()
	for clock < mean {
		n++
		clock += c.ExpFloat64()
	}
	return n
}

// clumped is a count with variance mean + mean²/k.
func (c chance) clumped(mean, k float64) float64 {
	return c.poisson(mean * c.gamma(k) / k)
}

// regular is a count with variance mean·(1 − mean/n), less than Poisson's.
func (c chance) regular(mean float64, n int) float64 {
	k := 0.0
	for range n {
		if c.Float64() < mean/float64(n) {
			k++
		}
	}
	return k
}

// event is 1 with the probability whose log odds are eta.
func (c chance) event(eta float64) float64 {
	if c.Float64() < expit(eta) {
		return 1
	}
	return 0
}

func expit(x float64) float64 { return 1 / (1 + math.Exp(-x)) }
func logit(p float64) float64 { return math.Log(p / (1 - p)) }
