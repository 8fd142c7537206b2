package power

import (
	"math"

	"parstead/correlate/dist"
)

const mostShares = 5_000

// Shares is a comparison of two shares of yes answers, A the larger, by Fisher's
// exact test, two-sided: the probability of all tables no likelier than the observed
// one. Power is exact.
type Shares struct {
	A, B float64 // 0 ≤ B < A ≤ 1
	// Pairs is how many pairs of levels are compared; the level of each test is
	// that of all by Bonferroni.
	Pairs int
}

// Power is the chance that n plants on each side show A above B.
//
//	Σ P(x | n, A) P(y | n, B) over x > y with p(x, y) ≤ 0.05/pairs
//
// What lies ten standard deviations off the middle of its distribution is left out.
func (s Shares) Power(n int) float64 {
	if !(0 <= s.B && s.B < s.A && s.A <= 1) || s.Pairs < 1 {
		panic("power: shares lie in order between 0 and 1")
	}
	f := newFactorials(2 * n)
	a, b := f.binomial(n, s.A), f.binomial(n, s.B)
	level := Level / float64(s.Pairs)
	mean := float64(n) * (s.A + s.B)
	far := 10*math.Sqrt(float64(n)*(s.A*(1-s.A)+s.B*(1-s.B))) + 10
	sum := 0.0
	for both := max(1, int(mean-far)); both < 2*n && float64(both) <= mean+far; both++ {
		// Among both yes answers x are A's. The test shows A above B from some x on.
		for x := f.rejectedFrom(n, both, level); x <= min(n, both); x++ {
			sum += a[x] * b[both-x]
		}
	}
	return min(1, sum)
}

// factorials are ln 0!, ln 1!, ...
type factorials []float64

func newFactorials(most int) factorials {
	f := make(factorials, most+1)
	for i := range f {
		f[i], _ = math.Lgamma(float64(i) + 1)
	}
	return f
}

func (f factorials) logChoose(n, k int) float64 { return f[n] - f[k] - f[n-k] }

// rejectedFrom is the smallest x above both/2 whose table has p ≤ level; n + 1
// where there is none.
//
//	P(x) = C(n, x) C(n, both − x) / C(2n, both), symmetrical about both/2
func (f factorials) rejectedFrom(n, both int, level float64) int {
	total, yes := float64(2*n), float64(both)
	far := 10*math.Sqrt(yes/total*(1-yes/total)*total/4*total/(total-1)) + 10
	top := f.logChoose(2*n, both)
	tail, first := 0.0, n+1
	for x := min(n, both, int(yes/2+far)); 2*x > both; x-- {
		// Both tails: with as many plants on either side one is the other's image.
		tail += 2 * math.Exp(f.logChoose(n, x)+f.logChoose(n, both-x)-top)
		if tail > level*(1+1e-12) {
			break
		}
		first = x
	}
	return first
}

// binomial is the chance of each number of yes answers of n.
func (f factorials) binomial(n int, share float64) []float64 {
	p := make([]float64, n+1)
	switch share {
	case 0:
		p[0] = 1
		return p
	case 1:
		p[n] = 1
		return p
	}
	yes, no := math.Log(share), math.Log1p(-share)
	for x := range p {
		p[x] = math.Exp(f.logChoose(n, x) + float64(x)*yes + float64(n-x)*no)
	}
	return p
}

// Replicates is the fewest plants per level found with at least that power, also
// for the five numbers after it: exact power climbs in the shape of a saw.
//
// Errors: ErrOutOfReach beyond 5,000.
func (s Shares) Replicates(power float64) (int, error) {
	known := map[int]bool{}
	enough := func(n int) bool {
		if _, ok := known[n]; !ok {
			known[n] = s.Power(n) >= power
		}
		return known[n]
	}
	n, err := fewest(2, mostShares, enough)
	if err != nil {
		return 0, err
	}
	for ahead := 1; ahead <= 5; {
		if enough(n + ahead) {
			ahead++
			continue
		}
		n += ahead + 1
		ahead = 0
		if n > mostShares {
			return 0, ErrOutOfReach
		}
	}
	return n, nil
}

// Apart gives the two shares whose log odds lie the log of ratio apart around
// those of share.
func Apart(share, ratio float64) (a, b float64) {
	logit, half := math.Log(share)-math.Log1p(-share), math.Log(ratio)/2
	return 1 / (1 + math.Exp(-logit-half)), 1 / (1 + math.Exp(-logit+half))
}

// SmallestOdds is the smallest odds ratio around share that n plants per level
// show with the given power; +Inf where none does.
func SmallestOdds(share float64, pairs, n int, power float64) float64 {
	short := func(log float64) float64 {
		a, b := Apart(share, math.Exp(log))
		return Shares{a, b, pairs}.Power(n) - power
	}
	low, high := 1e-6, 12.0
	if !(share > 0 && share < 1) || short(high) < 0 {
		return math.Inf(1)
	}
	return math.Exp(dist.Root(short, low, short(low), high, short(high), 1e-8))
}
