package daemon

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
	"parstead/store"
)

// keeper is the store as the intake sees it. It notes since when readings can't
// be kept and why.
type keeper struct {
	sink    ingest.Sink
	now     func() time.Time
	changed chan struct{} // nudged when readings cease to be kept, and when they are again
	broken  chan error    // gets the failure after which only a restart helps

	mu    sync.Mutex
	since time.Time // by now; zero while readings are kept
	cause error
	begun time.Time // by the machine's clock: of the commit under way; else zero
}

func newKeeper(sink ingest.Sink, now func() time.Time) *keeper {
	return &keeper{sink: sink, now: now, changed: make(chan struct{}, 1), broken: make(chan error, 1)}
}

// Append keeps a group of readings.
func (k *keeper) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	k.mu.Lock()
	k.begun = time.Now()
	k.mu.Unlock()
	fates, err := k.sink.Append(ctx, group)
	k.mu.Lock()
	defer k.mu.Unlock()
	k.begun = time.Time{}
	if ctx.Err() != nil {
		return fates, err
	}
	if was := k.cause; (was == nil) != (err == nil) {
		k.since = time.Time{}
		if err != nil {
			k.since = k.now()
		}
		nudge(k.changed)
	}
	k.cause = err
	if endsOn(err) {
		k.fail(err)
	}
	return fates, err
}

// fail ends the daemon with the first failure.
func (k *keeper) fail(err error) {
	select {
	case k.broken <- err:
	default:
	}
}

func nudge(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// stuckAfter is how long one commit may take: far more than a failing card needs.
const stuckAfter = 2 * time.Minute

// stuck tells whether a commit hangs.
func (k *keeper) stuck() bool {
	k.mu.Lock()
	defer k.mu.Unlock()
	return !k.begun.IsZero() && time.Since(k.begun) > stuckAfter
}

// condition tells that readings in the folder can't be kept.
func (k *keeper) condition(folder string) (c watch.Condition, ok bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	var gone *store.DisplacedError
	if k.cause == nil || errors.As(k.cause, &gone) || errors.Is(k.cause, store.ErrDamaged) { // database tells these
		return c, false
	}
	c = watch.Condition{
		Kind: watch.Disk, Since: k.since,
		Says: fmt.Sprintf("Readings can't be kept: %v.", k.cause),
	}
	switch where := absolute(folder); {
	case errors.Is(k.cause, store.ErrFailed):
		c.Do = "The daemon ends, to be started again by its service manager; what was not acknowledged is sent again. If this comes back, copy " + where + " to another disk and replace this one."
	case errors.Is(k.cause, syscall.ENOSPC), errors.Is(k.cause, syscall.EDQUOT):
		c.Do = "Make room on the disk that holds " + where + ". Sensors that wait for an acknowledgement send again; what others send is lost once memory is full."
	default:
		c.Do = "Look at the disk that holds " + where + " and at the daemon's log. Sensors that wait for an acknowledgement send again; what others send is lost once memory is full."
	}
	return c, true
}

func absolute(folder string) string {
	if where, err := filepath.Abs(folder); err == nil {
		return where
	}
	return folder
}
