package ingest

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"parstead/light"
)

const (
	silence   = time.Second            // since the last commit: readings are sparse
	fullHand  = 20                     // deliveries waited for that end a lingering: a common window of brokers
	fullLoad  = 1000                   // readings that end a lingering: each one's share of a commit is small
	firstWait = 100 * time.Millisecond // before a failed commit is tried again, doubled each time
	longWait  = 30 * time.Second
	drainTime = 10 * time.Second // for the last commit
)

// group is what one commit takes: readings, and the deliveries that wait.
type group struct {
	arrivals []arrival
	waiting  []waiting
	since    time.Time // of the first arrival
	waited   time.Time // of the first delivery that waits
	urgent   bool      // not to be put off: a queue drains, or a commit failed
}

type waiting struct {
	from Publisher
	id   uint16
}

func (g *group) size() int { return max(len(g.arrivals), len(g.waiting)) }

func (g *group) add(found []arrival, from Publisher, id uint16) {
	now := time.Now()
	if g.size() == 0 {
		g.since = now
	}
	g.arrivals = append(g.arrivals, found...)
	if from != nil {
		if len(g.waiting) == 0 {
			g.waited = now
		}
		g.waiting = append(g.waiting, waiting{from, id})
	}
}

// due is when the group has to be committed. While a queue drains or a
// publisher has waited lately, that is at once: it never waits for a count,
// because a broker whose window is full would wait for us while we wait for it.
// A publisher that comes after a silence waits for up to LingerWaited. What
// nobody waits for lingers however closely it comes, so that its commits lie at
// least Linger apart, or fullLoad readings.
func (in *Intake) due(g *group, lastCommit time.Time) time.Time {
	if in.closed || g.urgent || len(g.arrivals) == 0 || len(g.arrivals) >= min(fullLoad, in.Queue) || len(g.waiting) >= fullHand {
		return g.since
	}
	due := g.since.Add(max(0, in.Linger))
	if len(g.waiting) > 0 {
		soon := g.waited
		if soon.Sub(lastCommit) > silence {
			soon = soon.Add(max(0, in.LingerWaited))
		}
		if soon.Before(due) {
			due = soon
		}
	}
	return due
}

// Run commits what Take queues until ctx is cancelled. It then takes nothing more
// in, commits what is left within ten seconds, answers who waits and returns. An error
// names readings that could not be kept. End Run before the sources, so that
// publishers get their acknowledgements.
func (in *Intake) Run(ctx context.Context) error {
	defer context.AfterFunc(ctx, func() {
		in.mu.Lock()
		defer in.mu.Unlock()
		in.closed = true
		in.room.Broadcast()
		in.nudge()
	})()
	// A commit outlives the order to end, for a while: its readings are in.
	work, giveUp := context.WithCancel(context.WithoutCancel(ctx))
	defer giveUp()
	defer context.AfterFunc(ctx, func() {
		patience := time.AfterFunc(drainTime, giveUp)
		context.AfterFunc(work, func() { patience.Stop() })
	})()
	clock := time.NewTicker(time.Second)
	defer clock.Stop()
	timer := time.NewTimer(0)
	defer timer.Stop()

	p := pace{wait: firstWait}
	for {
		in.tellSteps()
		in.mu.Lock()
		closed, size := in.closed, in.queue.size()
		due := in.due(&in.queue, p.lastCommit)
		in.mu.Unlock()
		if due.Before(p.notBefore) && !closed {
			due = p.notBefore
		}
		switch now := time.Now(); {
		case size == 0 && closed:
			return nil
		case size > 0 && !now.Before(due):
			if err := in.commitQueue(work, &p, closed); err != nil {
				return err
			}
		default:
			var alarm <-chan time.Time
			if size > 0 {
				timer.Reset(due.Sub(now))
				alarm = timer.C
			}
			select {
			case <-in.wake:
			case <-alarm:
			case <-clock.C:
				in.look()
			}
		}
	}
}

// pace is what one commit leaves to the next.
type pace struct {
	taken      group // its memory serves again
	lastCommit time.Time
	notBefore  time.Time     // after a failure
	wait       time.Duration // before the try after the next failure
}

// commitQueue commits what is queued. A failure is returned if it was the last
// chance; else the queue is tried again after a while.
func (in *Intake) commitQueue(ctx context.Context, p *pace, last bool) error {
	in.mu.Lock()
	p.taken, in.queue = in.queue, p.taken.emptied()
	in.room.Broadcast()
	in.mu.Unlock()
	err := in.commit(ctx, &p.taken, nil)
	if len(p.taken.arrivals) > 0 {
		p.lastCommit = time.Now()
	}
	if err == nil {
		in.answer(&p.taken, nil)
		p.wait, p.notBefore = firstWait, time.Time{}
		in.setFailing(false)
		return nil
	}
	lost := in.putBack(&p.taken)
	in.answer(&p.taken, err)
	in.Log.Error("commit failed: publishers that wait have to send again", "error", err, "waiting", len(p.taken.waiting), "kept", lost, "retry", p.wait)
	switch {
	case last && lost > 0:
		return fmt.Errorf("store the last readings: %d that nobody sends again are lost: %w", lost, err)
	case last:
		return fmt.Errorf("store the last readings: %w", err)
	}
	p.notBefore = time.Now().Add(p.wait)
	p.wait = min(2*p.wait, longWait)
	return nil
}

func (in *Intake) tellSteps() {
	in.mu.Lock()
	steps, timed := in.steps, in.timed
	in.steps, in.timed = nil, nil
	in.mu.Unlock()
	for _, x := range timed {
		in.Log.Warn("readings set aside as a backlog were none", "sensor", x.Sensor, "pace", x.Pace, "from", x.During.From, "until", x.During.Until)
		if in.OnTimed != nil {
			in.OnTimed(x)
		}
	}
	for _, s := range steps {
		in.Log.Warn("the system clock was set", "by", s.By, "now", s.At)
		if in.OnStep != nil {
			in.OnStep(s)
		}
	}
}

func (in *Intake) setFailing(failing bool) {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.failing = failing
	in.room.Broadcast()
}

// emptied is the group without content but with its memory, unless a burst has
// made that large.
func (g *group) emptied() group {
	if cap(g.arrivals) > 4096 {
		return group{}
	}
	clear(g.arrivals)
	clear(g.waiting)
	return group{arrivals: g.arrivals[:0], waiting: g.waiting[:0]}
}

// commit appends the group's readings to the sink and accounts for each, in the
// summary too if there is one.
func (in *Intake) commit(ctx context.Context, g *group, sum *Summary) error {
	if len(g.arrivals) == 0 {
		return nil
	}
	in.commits.Lock()
	defer in.commits.Unlock()
	readings := make([]light.Reading, len(g.arrivals))
	for i := range g.arrivals {
		readings[i] = g.arrivals[i].reading
	}
	fates, err := in.Sink.Append(ctx, readings)
	if err != nil {
		return err
	}
	if len(fates) != len(readings) {
		return errors.New("ingest: the sink did not tell every reading's fate")
	}
	in.account(g.arrivals, fates, sum)
	return nil
}

// account counts what became of each reading and shows the stored ones.
func (in *Intake) account(arrivals []arrival, fates []light.Fate, sum *Summary) {
	in.mu.Lock() // once: Take waits for it meanwhile
	for i := range arrivals {
		a := &arrivals[i]
		switch fates[i] {
		case light.Duplicate:
			in.metrics.rejected.WithLabelValues(a.sensor.name, Duplicate).Inc()
			sum.reject(Duplicate)
			continue
		case light.Conflicting:
			a.reading.Mark |= light.Conflict
		}
		a.sensor.stored.Inc()
		reason := a.setAside()
		sum.store(reason)
		switch {
		case reason != "":
			in.metrics.setAside.WithLabelValues(a.sensor.name, reason).Inc()
		case a.reading.At.After(a.sensor.latest.At):
			a.sensor.latest = a.reading
			in.metrics.heard(a.sensor.name, a.reading.At)
		}
	}
	in.mu.Unlock()
	if in.OnStored == nil {
		return
	}
	for i := range arrivals {
		if fates[i] != light.Duplicate {
			in.OnStored(arrivals[i].reading)
		}
	}
}

// answer tells the waiting publishers what became of a commit, each in one call.
func (in *Intake) answer(g *group, err error) {
	ids := map[Publisher][]uint16{}
	for _, w := range g.waiting {
		ids[w.from] = append(ids[w.from], w.id)
	}
	for from, ids := range ids {
		if err != nil {
			from.Drop(err)
		} else {
			from.Acknowledge(ids)
		}
	}
}

// putBack keeps the readings of a failed commit that nobody would send again,
// and returns how many they are. What waits in the queue joins the group, to be
// told too: its publishers are dropped anyway, and would send again what a later
// commit had stored.
func (in *Intake) putBack(g *group) int {
	in.mu.Lock()
	defer in.mu.Unlock()
	in.failing = true
	in.room.Broadcast()
	kept := group{since: g.since, urgent: true}
	for _, a := range slices.Concat(g.arrivals, in.queue.arrivals) {
		if !a.waits {
			kept.arrivals = append(kept.arrivals, a)
		}
	}
	g.waiting = append(g.waiting, in.queue.waiting...)
	in.queue = kept
	return len(kept.arrivals)
}
