package racktest

import (
	"sync/atomic"
	"testing"
	"time"

	"parstead/ingest"
)

// Clock is a clock that a test moves.
type Clock struct{ now, from atomic.Int64 }

// NewClock is a clock that stands at a moment.
func NewClock(at time.Time) *Clock {
	h := &Clock{}
	h.now.Store(at.UnixNano())
	h.from.Store(at.UnixNano())
	return h
}

// Set puts the clock to a moment.
func (h *Clock) Set(at time.Time) { h.now.Store(at.UnixNano()) }

// Move lets time pass.
func (h *Clock) Move(by time.Duration) { h.now.Add(int64(by)) }

// At is the moment.
func (h *Clock) At() time.Time { return time.Unix(0, h.now.Load()).UTC() }

// Ingest is the clock as a daemon takes it.
func (h *Clock) Ingest() ingest.Clock {
	return ingest.Clock{Now: h.At, Uptime: func() time.Duration { return time.Duration(h.now.Load() - h.from.Load()) }}
}

// Eventually waits until the test's condition holds.
func Eventually(tb testing.TB, what string, holds func() bool) {
	tb.Helper()
	for deadline := time.Now().Add(20 * time.Second); !holds(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			tb.Fatalf("not within 20 s: %s", what)
		}
	}
}
