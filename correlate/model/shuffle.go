package model

import (
	"iter"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
)

// Shuffle re-deals labels freely among the rows of a group: plants within a
// bin, or bins within a block.
type Shuffle struct {
	labels []int
	rows   [][]int // by group
}

// NewShuffle re-deals the labels within groups; nil groups means that all rows
// are one.
func NewShuffle(labels, groups []int) *Shuffle {
	if groups == nil {
		groups = make([]int, len(labels))
	}
	return &Shuffle{labels: labels, rows: slices.DeleteFunc(groupRows(groups), func(r []int) bool { return len(r) < 2 })}
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
	copy(labels, s.labels)
	for _, rows := range s.rows {
		for i := len(rows) - 1; i > 0; i-- {
			a, b := rows[i], rows[rng.IntN(i+1)]
			labels[a], labels[b] = labels[b], labels[a]
		}
	}
}

// Count is the number of different deals.
func (s *Shuffle) Count() float64 {
	log := 0.0
	lg := func(n int) float64 { v, _ := math.Lgamma(float64(n + 1)); return v }
	for _, rows := range s.rows {
		alike := map[int]int{}
		for _, r := range rows {
			alike[s.labels[r]]++
		}
		log += lg(len(rows))
		for _, n := range alike {
			log -= lg(n)
		}
	}
	if log < 30 {
		return math.Round(math.Exp(log))
	}
	return math.Exp(log)
}

// All lists every different deal once. The slice is used again.
func (s *Shuffle) All() iter.Seq[[]int] {
	return func(yield func([]int) bool) {
		labels := slices.Clone(s.labels)
		held := make([][]int, len(s.rows)) // each group's labels in ascending order
		for g, rows := range s.rows {
			for _, r := range rows {
				held[g] = append(held[g], labels[r])
			}
			slices.Sort(held[g])
		}
		for {
			for g, rows := range s.rows {
				for i, r := range rows {
					labels[r] = held[g][i]
				}
			}
			if !yield(labels) {
				return
			}
			g := 0
			for g < len(held) && !nextArrangement(held[g]) { // wraps to the first
				g++
			}
			if g == len(held) {
				return
			}
		}
	}
}

// nextArrangement steps to the next arrangement in ascending order; from the
// last it returns to the first and false.
func nextArrangement(x []int) bool {
	i := len(x) - 2
	for i >= 0 && x[i] >= x[i+1] {
		i--
	}
	if i >= 0 {
		j := len(x) - 1
		for x[j] <= x[i] {
			j--
		}
		x[i], x[j] = x[j], x[i]
	}
	slices.Reverse(x[i+1:])
	return i >= 0
}

// batches is the number of parts that a run of random deals is cut into. Each
// has a generator of its own, so that the result depends on the seed alone and
// not on the number of processors.
const batches = 64

// inBatches runs deals in parallel: begin gives each worker its function, which
// is called for every batch the worker takes.
func inBatches(deals int, seed uint64, begin func() func(rng *rand.Rand, deals int)) {
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
					run(rand.New(rand.NewPCG(seed, uint64(b))), n)
				}
			}
		})
	}
	wait.Wait()
}
