package model

import (
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
)

// Shuffle re-deals labels freely among the rows of a group: plants within a bin.
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
