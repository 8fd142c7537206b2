package model

import (
	"math/rand/v2"
	"sync/atomic"
	"testing"
)

// Limits of a share by the binomial's tails: R 4.3, pbinom(c, n, 0.05) < 0.001 and
// pbinom(c - 1, n, 0.05, lower.tail = FALSE) < 0.001, at the edges of either.
func TestDecided(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		count, deals int
		want         bool
	}{{0, 134, false}, {0, 135, true}, {16, 136, false}, {17, 136, true}, {29, 1000, true}, {30, 1000, false}, {73, 1000, false}, {74, 1000, true}} {
		if got := decided(c.count, c.deals); got != c.want {
			t.Errorf("%d of %d: decided %v", c.count, c.deals, got)
		}
	}
}

// Over very many rows deals end once they have decided, on the right side: of 4,000
// runs at a true p of 0.04 and of 0.06 at most 1.5 % on the wrong one (1 % is meant,
// Monte Carlo error 0.16 %), and in all of them at once where there is no doubt. Over
// fewer rows all deals are made.
func TestDealsEndWhenTheyHaveDecided(t *testing.T) {
	t.Parallel()
	run := func(rows int, p float64, seed uint64) (share float64, done int) {
		var count atomic.Int64
		done = inRounds(rows, 9999, seed, func() func(*rand.Rand, int) {
			return func(rng *rand.Rand, deals int) {
				for range deals {
					if rng.Float64() < p {
						count.Add(1)
					}
				}
			}
		}, func() []int64 { return []int64{count.Load()} })
		return float64(1+count.Load()) / float64(1+done), done
	}
	for _, p := range []float64{0, 0.5} {
		if _, done := run(200_000, p, 1); done != fewestDeals {
			t.Errorf("a p of %v took %d deals", p, done)
		}
	}
	if _, done := run(1000, 0.5, 1); done != 9999 {
		t.Errorf("over 1,000 rows %d deals", done)
	}
	for _, p := range []float64{0.04, 0.06} {
		wrong := 0
		for seed := range uint64(2000) {
			if share, _ := run(200_000, p, seed); (share < 0.05) != (p < 0.05) {
				wrong++
			}
		}
		if wrong > 30 {
			t.Errorf("a true p of %v: %d of 2000 on the wrong side", p, wrong)
		}
	}
}
