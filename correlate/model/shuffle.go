package model

import (
	"math/bits"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"

	"gonum.org/v1/gonum/stat/distuv"
)

// Shuffle re-deals labels freely among the rows of a group: plants within a bin.
type Shuffle struct {
	labels []int   // group by group
	rows   [][]int // by group
	memory sync.Pool
}

// NewShuffle re-deals the labels within groups; nil groups means that all rows
// are one.
func NewShuffle(labels, groups []int) *Shuffle {
	if groups == nil {
		groups = make([]int, len(labels))
	}
	s := &Shuffle{rows: groupRows(groups)}
	for _, rows := range s.rows {
		for _, i := range rows {
			s.labels = append(s.labels, labels[i])
		}
	}
	s.memory.New = func() any { part := make([]int, len(labels)); return &part }
	return s
}

func groupRows(groups []int) [][]int {
	rows := make([][]int, slices.Max(append([]int{-1}, groups...))+1)
	for i, g := range groups {
		rows[g] = append(rows[g], i)
	}
	return rows
}

// Deal writes one deal into labels, each as likely as any other. It may be
// called from several goroutines.
func (s *Shuffle) Deal(rng *rand.Rand, labels []int) {
	memory := s.memory.Get().(*[]int) //nolint:forcetypeassert // New's
	defer s.memory.Put(memory)
	dealt := *memory
	copy(dealt, s.labels)
	for _, rows := range s.rows {
		part := dealt[:len(rows)]
		dealt = dealt[len(rows):]
		shuffle(rng, part)
		for k, i := range rows {
			labels[i] = part[k]
		}
	}
}

// shuffle puts the values into an order, each as likely as any other: the last
// place gets one of all, the next one of the rest.
func shuffle[T any](rng *rand.Rand, x []T) {
	i := len(x) - 1
	for ; i >= 4 && i < mostInFours; i -= 4 {
		a, b, c, d := four(rng, i)
		x[i], x[a] = x[a], x[i]
		x[i-1], x[b] = x[b], x[i-1]
		x[i-2], x[c] = x[c], x[i-2]
		x[i-3], x[d] = x[d], x[i-3]
	}
	for ; i > 0; i-- {
		j := rng.IntN(i + 1)
		x[i], x[j] = x[j], x[i]
	}
}

// mostInFours is the largest number of values that four takes.
const mostInFours = 1 << 14

// four draws the four next places of a shuffle from one random number: up to i,
// i − 1, i − 2 and i − 3, each as likely as any other.
//
// The number is read as a fraction; each whole part of its product with a bound
// is a draw and the rest goes on. A rest under 2⁶⁴ mod the bounds' product is
// drawn again, so that nothing is favoured.
//
// Brackett-Rozinsky, Lemire (2024), Software: Practice and Experience 54.
func four(rng *rand.Rand, i int) (a, b, c, d int) {
	n := uint64(i)
	product := (n + 1) * n * (n - 1) * (n - 2)
	for {
		first, rest := bits.Mul64(rng.Uint64(), n+1)
		second, rest := bits.Mul64(rest, n)
		third, rest := bits.Mul64(rest, n-1)
		fourth, rest := bits.Mul64(rest, n-2)
		if rest >= product || rest >= -product%product {
			return int(first), int(second), int(third), int(fourth)
		}
	}
}

// batches is the number of parts that a run of random deals is cut into. Each
// has a generator of its own, so that the result depends on the seed alone and
// not on the number of processors.
const batches = 64

// inBatches runs deals in parallel: begin gives each worker its function, which
// is called for every batch the worker takes.
func inBatches(deals int, seed, round uint64, begin func() func(rng *rand.Rand, deals int)) {
	next := make(chan int, batches)
	for b := range batches {
		next <- b
	}
	close(next)
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), batches) {
		run := begin()
		wait.Go(func() {
			for b := range next {
				if n := (b+1)*deals/batches - b*deals/batches; n > 0 {
					run(rand.New(rand.NewPCG(seed, round<<32|uint64(b))), n)
				}
			}
		})
	}
	wait.Wait()
}

// manyRows is the number of rows beyond which deals end as soon as they have decided.
const manyRows = 2e4

// fewestDeals can decide: where none of them reaches the actual statistic, p is under
// 0.05 (0.95¹³⁶ < 0.001).
const fewestDeals = 136

// inRounds runs the deals and gives how many it ran: all, or over very many rows as
// many as it takes until p lies on one side of 0.05 for each of the counts, beyond its
// exact 99.9 % limits. It looks after 136 deals and each time there are twice as many,
// so that p is on the wrong side in less than one test of a hundred where it is nearly
// 0.05, and else far more rarely.
func inRounds(rows, deals int, seed uint64, begin func() func(rng *rand.Rand, deals int), reached func() []int64) int {
	if rows <= manyRows {
		inBatches(deals, seed, 0, begin)
		return deals
	}
	done := 0
	for round := uint64(0); done < deals; round++ {
		n := min(max(fewestDeals, done), deals-done)
		inBatches(n, seed, round, begin)
		done += n
		if !slices.ContainsFunc(reached(), func(c int64) bool { return !decided(int(c), done) }) {
			break
		}
	}
	return done
}

// decided tells whether a share of which c of n were drawn is not 0.05, by the tails of
// the binomial distribution.
func decided(c, n int) bool {
	const p, tail = 0.05, 0.001
	b := distuv.Binomial{N: float64(n), P: p}
	return b.CDF(float64(c)) < tail || 1-b.CDF(float64(c-1)) < tail
}
