package daemon

import (
	"context"
	"errors"
	"sync"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/trial"
)

// results keeps what the harvest says until the trial's files or its log change:
// an analysis takes long, and many may look.
type results struct {
	trial   func() *trial.Trial
	entry   func() uint64 // newest of the log
	analyse func(ctx context.Context, folder string) ([]string, error)

	mu     sync.Mutex
	of     *trial.Trial
	seen   uint64
	answer []string
}

// errNoAnalysis is the error of a daemon that was not told how to analyse.
var errNoAnalysis = errors.New("this daemon can't analyse: use parstead correlate")

// get is the harvest's answer; nil while it is not in, so that whoever scores
// does not know it.
func (r *results) get(ctx context.Context) (answer []string, err error) {
	t := r.trial()
	if !t.HarvestIn() {
		return nil, nil
	}
	if r.analyse == nil {
		return nil, errNoAnalysis
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if entry := r.entry(); r.of != t || r.seen != entry {
		// Whoever asked may have gone before it is done: the next one has it then.
		answer, err := r.analyse(context.WithoutCancel(ctx), t.Dir)
		if err != nil {
			return nil, err
		}
		r.of, r.seen, r.answer = t, entry, answer
	}
	return r.answer, nil
}

// result is the page of the harvest's answer.
func (s *status) result(ctx context.Context) (*page.Result, error) {
	state, err := s.get(ctx)
	if err != nil {
		return nil, err
	}
	t := s.trial()
	x := &page.Result{State: state, In: t.HarvestIn()}
	for i := range t.Plants {
		if p := &t.Plants[i]; !p.Guard && !p.HasHarvest {
			x.Out++
		}
	}
	x.Answer, err = s.results.get(ctx)
	return x, err
}
