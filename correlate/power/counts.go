package power

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

const (
	mostCounts = 10_000     // replicates per level
	trials     = 10_000     // simulated, where replicates are few
	fewTrials  = 1_000      // simulated, where they are many
	mostDraws  = 40_000_000 // of a simulation for many numbers of replicates
	oneDraws   = 4_000_000  // of one for a single number
)

// Counts is a comparison of mean counts by quasi-likelihood with a log link. Two
// of the means lie Ratio apart and all others half way between on the log scale;
// the variance is Dispersion times the mean. Power is found by simulation.
type Counts struct {
	Layout
	Mean       float64 // > 0, geometric over the two furthest levels, of one replicate
	Dispersion float64 // > 0, variance over mean
	Ratio      float64 // > 1
	Seed       uint64
}

// Simulated is a power found by simulation.
type Simulated struct {
	Replicates int
	Power      float64
	Error      float64 // Monte Carlo error of Power: one standard deviation
}

// normal is the same comparison of log means, for many replicates.
func (c Counts) normal() Means {
	return Means{Layout: c.Layout, SD: math.Sqrt(c.Dispersion / c.Mean), Difference: math.Log(c.Ratio)}
}

// About is what Replicates is for large counts: the fewest per level if their logs
// were normal, without simulation.
//
// Errors: ErrOutOfReach beyond a million.
func (c Counts) About(power float64) (int, error) { return c.normal().Replicates(power) }

// Power simulates trials of n replicates per level.
//
// Errors: ErrTooLarge; ErrOutOfReach beyond 10,000 replicates.
func (c Counts) Power(n int) (Simulated, error) {
	if n > mostCounts {
		return Simulated{}, ErrOutOfReach
	}
	if n < c.least() {
		return Simulated{Replicates: n}, nil
	}
	shown, of, err := c.simulate(n, n, oneDraws)
	if err != nil {
		return Simulated{}, err
	}
	return simulated(n, shown[0], of), nil
}

func simulated(n, shown, of int) Simulated {
	p := float64(shown) / float64(of)
	return Simulated{n, p, math.Sqrt(p * (1 - p) / float64(of))}
}

// Replicates is the fewest per level from which on the simulated power is at least
// that asked for. One set of simulated trials serves every number of replicates:
// each grows plant by plant.
//
// Errors: those of Power.
func (c Counts) Replicates(power float64) (Simulated, error) {
	about, err := c.About(power)
	if err != nil {
		return Simulated{}, err
	}
	for range 20 {
		from, to := max(c.least(), about*6/10), about*3/2+4
		if to > mostCounts {
			return Simulated{}, ErrOutOfReach
		}
		shown, of, err := c.simulate(from, to, mostDraws)
		if err != nil {
			return Simulated{}, err
		}
		enough := len(shown)
		for enough > 0 && float64(shown[enough-1]) >= power*float64(of) {
			enough--
		}
		switch {
		case enough == len(shown):
			about = to * 5 / 4
		case enough == 0 && from > c.least():
			about = max(c.least(), from*3/4)
		default:
			return simulated(from+enough, shown[enough], of), nil
		}
	}
	return Simulated{}, ErrOutOfReach
}

// Smallest is the smallest ratio that n replicates per level show with the given
// power, to one part in two hundred of its logarithm.
//
// Errors: those of Power; ErrOutOfReach where a ratio of e⁸ would not show.
func (c Counts) Smallest(n int, power float64) (float64, error) {
	if n < c.least() {
		return 0, ErrOutOfReach
	}
	var failed error
	short := func(log float64) float64 {
		c.Ratio = math.Exp(log)
		s, err := c.Power(n)
		if err != nil && failed == nil {
			failed = err
		}
		return s.Power - power
	}
	c.Ratio = math.E
	guess := c.normal().Smallest(n, power)
	if guess > 8 {
		return 0, ErrOutOfReach
	}
	low, high := guess/2, guess
	const none = 1e-6 // chance alone gives a power this near to Level
	for short(low) >= 0 && low > none && failed == nil {
		low, high = low/2, low
	}
	for short(high) < 0 && failed == nil {
		if low, high = high, high*1.5; high > 8 {
			return 0, ErrOutOfReach
		}
	}
	if failed != nil {
		return 0, failed
	}
	for high-low > high/200 {
		if mid := (low + high) / 2; short(mid) >= 0 {
			high = mid
		} else {
			low = mid
		}
	}
	return math.Exp(high), failed
}

// simulate grows trials to most replicates per level and counts those that show
// a difference at each number of them from least on. About so many counts are
// drawn, in a thousand trials at least and ten thousand at most.
func (c Counts) simulate(least, most, draws int) (shown []int, of int, err error) {
	k := c.Levels
	means := make([]*counter, k) // lowest first, then highest, then those between
	for j := range means {
		mean := c.Mean
		switch j {
		case 0:
			mean /= math.Sqrt(c.Ratio)
		case 1:
			mean *= math.Sqrt(c.Ratio)
		}
		if j > 2 {
			means[j] = means[2]
			continue
		}
		if means[j], err = newCounter(mean, c.Dispersion); err != nil {
			return nil, 0, err
		}
	}
	of = min(trials, max(fewTrials, draws/(most*k)))
	critical := make([]float64, most-least+1)
	for i := range critical {
		critical[i] = math.Inf(1)
		if df := c.DF(least + i); df > 0 {
			critical[i] = distuv.F{D1: float64(k - 1), D2: float64(df)}.Quantile(1 - Level)
		}
	}
	shown = make([]int, len(critical))
	t := grown{Layout: c.Layout, sums: make([]float64, k), squares: make([]float64, k), row: make([]float64, k)}
	for s := range of {
		rng := rand.New(rand.NewPCG(c.Seed, uint64(s)))
		t.clear()
		for n := 1; n <= most; n++ {
			for j := range t.row {
				t.row[j] = means[j].draw(rng)
			}
			t.add()
			if n >= least && t.ratio(n) > critical[n-least] {
				shown[n-least]++
			}
		}
	}
	return shown, of, nil
}

// grown is a simulated trial that grows by a replicate of every level at a time.
// The fits have closed forms:
//
//	without blocks μᵢⱼ = Cⱼ/n, with blocks μᵢⱼ = Rᵢ Cⱼ/T
//
// from the level totals C, block totals R and their sum T.
type grown struct {
	Layout
	row           []float64 // the next replicate of each level
	sums, squares []float64 // by level: Σ y, and Σ y² or with blocks Σ y²/R
	total         float64
}

func (t *grown) clear() {
	clear(t.sums)
	clear(t.squares)
	t.total = 0
}

func (t *grown) add() {
	weight := 1.0
	if t.Blocked {
		block := 0.0
		for _, y := range t.row {
			block += y
		}
		if block == 0 {
			return
		}
		weight = 1 / block
	}
	for j, y := range t.row {
		t.sums[j] += y
		t.squares[j] += weight * y * y
		t.total += y
	}
}

// ratio is F = (ΔD/(k − 1))/φ, φ = χ²/df, after n replicates; 0 where nothing
// varies.
//
//	ΔD = 2 Σ Cⱼ ln(k Cⱼ/T),  χ² = Σ (y − μ)²/μ = Σ y²/μ − T
func (t *grown) ratio(n int) float64 {
	k := float64(t.Levels)
	chi2, drop := -t.total, 0.0
	scale := float64(n)
	if t.Blocked {
		scale = t.total
	}
	for j, sum := range t.sums {
		if sum > 0 {
			chi2 += scale * t.squares[j] / sum
			drop += 2 * sum * math.Log(k*sum/t.total)
		}
	}
	df := float64(t.DF(n))
	if chi2 <= 1e-9*t.total || df < 1 {
		return 0
	}
	// Others were not simulated: χ² is that of a model without them.
	return drop / (k - 1) / (chi2 / (df + float64(t.Others)))
}
