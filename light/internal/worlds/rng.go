//go:build worlds

package worlds

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// Sub gives an independent random stream for one purpose. Each purpose has its
// own label, so that one more draw in, say, the meter does not silently change
// the lamp: a seed must go on meaning the same world.
func Sub(seed uint64, label string, n ...int) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(label))
	for _, v := range n {
		u := uint64(int64(v))
		var b [8]byte
		for i := range b {
			b[i] = byte(u >> (8 * i))
		}
		h.Write(b[:])
	}
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// span draws evenly between two values.
func span(g *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*g.Float64() }

// logSpan draws evenly in the logarithm: light levels are a matter of ratio.
func logSpan(g *rand.Rand, lo, hi float64) float64 {
	return lo * math.Pow(hi/lo, g.Float64())
}

// either is a coin with a given chance of true.
func either(g *rand.Rand, p float64) bool { return g.Float64() < p }

// between draws a whole number, both ends possible.
func between(g *rand.Rand, lo, hi int) int { return lo + g.IntN(hi-lo+1) }

// sign draws -1 or +1.
func sign(g *rand.Rand) float64 {
	if g.IntN(2) == 0 {
		return -1
	}
	return 1
}

// clamp keeps a value inside its limits.
func clamp(v, lo, hi float64) float64 { return math.Max(lo, math.Min(hi, v)) }
