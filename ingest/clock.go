package ingest

import (
	"sync"
	"time"
)

// Clock is the time of day and the time since the process started. Both move
// together except when the system clock is set.
type Clock struct {
	Now    func() time.Time
	Uptime func() time.Duration // monotonic
}

// SystemClock is the machine's clock; its uptime counts from the call.
func SystemClock() Clock {
	m := &machine{start: time.Now(), boot: sinceBoot()}
	return Clock{Now: time.Now, Uptime: m.uptime}
}

// machine tells the uptime, the time asleep included: waking up must not look
// like a step of the clock. Go's monotonic clock stands still meanwhile, and the
// one that does not is dear to ask, so it is asked only when the others part.
type machine struct {
	start time.Time     // with Go's monotonic reading
	boot  time.Duration // since the machine's boot, then

	mu     sync.Mutex
	parted time.Duration // the time of day over the monotonic clock, since start
	asleep time.Duration
}

func (m *machine) uptime() time.Duration {
	now := time.Now()
	awake := now.Sub(m.start)
	parted := now.Round(0).Sub(m.start.Round(0)) - awake
	m.mu.Lock()
	defer m.mu.Unlock()
	if (parted - m.parted).Abs() > 100*time.Millisecond {
		m.parted = parted
		if b := sinceBoot(); b > 0 {
			m.asleep = max(m.asleep, b-m.boot-awake)
		}
	}
	return awake + m.asleep
}

// Step is a jump of the system clock against the monotonic one.
type Step struct {
	At     time.Time // by the clock after the step
	Boot   uint32
	Uptime time.Duration // when it was noticed
	By     time.Duration // positive: the clock was set forward
}

// stepSize is the smallest jump that counts as one. A clock that is slewed
// moves by at most 0.5 ms a second and is looked at every second.
const stepSize = 2 * time.Second

// stamp is one look at the clock.
type stamp struct {
	now    time.Time
	uptime time.Duration
}

// watch reads the clock and notices its steps.
type watch struct {
	clock Clock

	mu    sync.Mutex
	begun bool
	epoch time.Time     // the first look
	ahead time.Duration // of the time since epoch over the uptime
}

// look reads both clocks as of one moment; by is the step since the last look,
// 0 for none.
func (w *watch) look() (s stamp, by time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	// The two are read in turn: again if much time passed between them, as it
	// does when the process was suspended or a simulated clock moved on.
	for range 10 {
		before := w.clock.Uptime()
		s.now, s.uptime = w.clock.Now().Round(0), w.clock.Uptime()
		if s.uptime-before < 100*time.Millisecond {
			break
		}
	}
	if !w.begun {
		w.begun, w.epoch, w.ahead = true, s.now, -s.uptime
	}
	ahead := s.now.Sub(w.epoch) - s.uptime
	if by = ahead - w.ahead; by.Abs() <= stepSize {
		by = 0
	}
	w.ahead = ahead
	return s, by
}
