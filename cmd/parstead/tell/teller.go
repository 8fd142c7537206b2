package tell

import (
	"context"
	"log/slog"
	"slices"
	"sync"
	"time"

	"parstead/light/watch"
)

// Config says how a Teller works.
type Config struct {
	Way Way
	Now func() time.Time
	Log *slog.Logger

	// File, where not "", is where it is kept what was told, so that a restart
	// repeats nothing.
	File string
}

// How a Teller spaces what it sends.
const (
	quiet      = time.Hour        // a cause that comes back within this long of its last message waits
	firstRetry = 10 * time.Second // after a message that could not be sent, doubled each time
	lastRetry  = 10 * time.Minute
)

// Teller keeps what the grower should know apart from what was sent, and sends
// the difference. A cause that comes and goes is told once an hour at most, and
// not at all if it has gone by then.
type Teller struct {
	config Config
	wake   chan struct{}

	sending sync.Mutex // held while messages are sent

	mu      sync.Mutex
	current map[watch.Cause]Message // how each cause stands
	sent    map[watch.Cause]sent
	failed  map[watch.Cause]failure
}

type sent struct {
	Message Message   `json:"message"`
	At      time.Time `json:"at"` // when the cause was last told as present
}

type failure struct {
	why   string
	tries int
	next  time.Time
}

// Unsent is a message that could not be sent so far.
type Unsent struct {
	Message Message
	Why     string
	Tries   int
}

// New prepares a Teller, with what its file says was told before; Run sends.
func New(c Config) *Teller {
	return &Teller{
		config: c, wake: make(chan struct{}, 1),
		current: map[watch.Cause]Message{}, sent: remembered(c), failed: map[watch.Cause]failure{},
	}
}

// Tell takes a message in and returns at once. A message with Until ends its cause.
func (t *Teller) Tell(m Message) {
	t.mu.Lock()
	t.current[m.Cause()] = m
	t.mu.Unlock()
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// Unsent lists the messages that could not be sent so far, oldest cause first.
func (t *Teller) Unsent() []Unsent {
	t.mu.Lock()
	defer t.mu.Unlock()
	var list []Unsent
	for c, f := range t.failed {
		list = append(list, Unsent{t.current[c], f.why, f.tries})
	}
	slices.SortFunc(list, func(a, b Unsent) int { return a.Message.Compare(b.Message.Condition) })
	return list
}

func older(a, b Message) int { return a.Compare(b.Condition) }

// Told lists the conditions that were told and not yet told to be over.
func (t *Teller) Told() []Message {
	t.mu.Lock()
	defer t.mu.Unlock()
	var list []Message
	for _, s := range t.sent {
		if s.Message.Until == nil && s.Message.isCondition() {
			list = append(list, s.Message)
		}
	}
	slices.SortFunc(list, older)
	return list
}

// Flush tries once to send what is due.
func (t *Teller) Flush(ctx context.Context) { t.sendDue(ctx) }

// Run sends until ctx ends.
func (t *Teller) Run(ctx context.Context) error {
	tick := time.NewTicker(firstRetry)
	defer tick.Stop()
	for {
		t.sendDue(ctx)
		select {
		case <-ctx.Done():
			return nil
		case <-t.wake:
		case <-tick.C:
		}
	}
}

// sendDue sends each message that is due now, one after the other.
func (t *Teller) sendDue(ctx context.Context) {
	t.sending.Lock()
	defer t.sending.Unlock()
	for _, m := range t.due(t.config.Now()) {
		if ctx.Err() != nil {
			return
		}
		t.record(m, t.config.Way.Send(ctx, m))
	}
}

func (t *Teller) due(now time.Time) []Message {
	t.mu.Lock()
	defer t.mu.Unlock()
	var due []Message
	for c, m := range t.current {
		last, told := t.sent[c]
		over := m.Until != nil
		switch {
		case !told && over: // came and went before a word of it was sent
			delete(t.current, c)
			delete(t.failed, c)
			continue
		case told && last.Message.Since.Equal(m.Since) && (last.Message.Until != nil) == over:
			continue // said already
		case told && over && last.Message.Until != nil: // came back, was held, and went again
			continue
		case told && !over && now.Sub(last.At) < quiet && m.isCondition():
			continue
		}
		if f, ok := t.failed[c]; ok && now.Before(f.next) {
			continue
		}
		due = append(due, m)
	}
	slices.SortFunc(due, older)
	return due
}

func (t *Teller) record(m Message, why error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	c := m.Cause()
	now := t.config.Now()
	if why != nil {
		f := t.failed[c]
		wait := min(lastRetry, firstRetry<<min(f.tries, 10))
		t.failed[c] = failure{why.Error(), f.tries + 1, now.Add(wait)}
		t.config.Log.Error("message not sent", "condition", m.Kind, "bin", m.Bin, "tries", f.tries+1, "again_in", wait, "error", why)
		return
	}
	delete(t.failed, c)
	at := now
	if m.Until != nil {
		at = t.sent[c].At
	}
	t.sent[c] = sent{m, at}
	t.remember(now)
	t.config.Log.Info("message sent", "condition", m.Kind, "bin", m.Bin, "over", m.Until != nil)
}
