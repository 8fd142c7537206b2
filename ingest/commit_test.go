package ingest

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"parstead/light"
)

// lingering runs an intake with the daemon's own settings on a clock that costs
// no time, and returns its sink when it has ended.
func lingering(t *testing.T, feeds []Feed, publish func(*Intake)) *timed {
	t.Helper()
	sink := &timed{}
	in, err := New(Config{Sink: sink, Feeds: feeds, Clock: SystemClock(), Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() { done <- in.Run(ctx) }()
	publish(in)
	cancel()
	if err := <-done; err != nil {
		t.Error(err)
	}
	return sink
}

// Eight sensors of light and temperature that publish once a minute without
// acknowledgement (QoS 0), however their moments lie: at most one commit in ten
// seconds, and nothing is kept from the disk for longer.
func TestARackAtRestSparesItsCard(t *testing.T) {
	t.Parallel()
	const sensors, minutes = 16, 60
	rng := rand.New(rand.NewPCG(7, 8))
	for name, moment := range map[string]func(i int) time.Duration{
		"evenly":          func(i int) time.Duration { return time.Duration(i) * time.Minute / sensors },
		"in one breath":   func(i int) time.Duration { return time.Duration(i) * time.Millisecond },
		"half a second":   func(i int) time.Duration { return time.Duration(i) * time.Second / 2 },
		"every 3 seconds": func(i int) time.Duration { return time.Duration(i) * 3 * time.Second },
		"at random":       func(int) time.Duration { return time.Duration(rng.Int64N(int64(time.Minute))) },
	} {
		var feeds []Feed
		var moments []time.Duration
		for i := range sensors {
			feeds = append(feeds, chip(fmt.Sprint(i), fmt.Sprint(i)))
		}
		for m := range minutes {
			for i := range sensors {
				moments = append(moments, time.Duration(m)*time.Minute+moment(i))
			}
		}
		slices.Sort(moments)
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				start := time.Now()
				var oldest time.Duration
				sink := lingering(t, feeds, func(in *Intake) {
					in.OnStored = func(r light.Reading) { oldest = max(oldest, time.Since(r.Arrived)) }
					for i, at := range moments {
						time.Sleep(at - time.Since(start))
						in.Take(Delivery{Topic: fmt.Sprint(i % sensors), Payload: []byte("1")})
					}
					time.Sleep(time.Minute)
				})
				if n := len(sink.all()); n != sensors*minutes {
					t.Errorf("%d readings stored, want %d", n, sensors*minutes)
				}
				for i := 1; i < len(sink.at); i++ {
					if pause := sink.at[i].Sub(sink.at[i-1]); pause < 10*time.Second {
						t.Errorf("a commit after only %v", pause)
					}
				}
				if oldest > 11*time.Second { // arrival times are whole seconds
					t.Errorf("a reading was kept from the disk for %v", oldest)
				}
				t.Logf("%d readings in %d commits", len(sink.all()), len(sink.at))
			})
		})
	}
}

func TestLingering(t *testing.T) {
	t.Parallel()
	// Each delivery comes so long after the start; each commit must come then.
	type delivery struct {
		after time.Duration
		waits bool
		away  time.Duration // of the session, before it
	}
	const s, ms = time.Second, time.Millisecond
	many := func(n int, after time.Duration, waits bool) []delivery {
		return slices.Repeat([]delivery{{after: after, waits: waits}}, n)
	}
	for _, c := range []struct {
		name       string
		deliveries []delivery
		commits    []time.Duration
	}{
		{"nobody waits", []delivery{{after: 100 * s}, {after: 105 * s}}, []time.Duration{110 * s}},
		{"nobody waits, soon after a commit", []delivery{{after: 100 * s}, {after: 110*s + 200*ms}}, []time.Duration{110 * s, 120*s + 200*ms}},
		{"a publisher waits", []delivery{{100 * s, true, 0}}, []time.Duration{101 * s}},
		{"a publisher joins", []delivery{{after: 100 * s}, {104 * s, true, 0}}, []time.Duration{105 * s}},
		{"late joiner never puts off", []delivery{{after: 100 * s}, {109*s + 500*ms, true, 0}}, []time.Duration{110 * s}},
		{"busy publisher", []delivery{{100 * s, true, 0}, {101*s + 500*ms, true, 0}}, []time.Duration{101 * s, 101*s + 500*ms}},
		{"a busy publisher takes others along", []delivery{{100 * s, true, 0}, {after: 101*s + 200*ms}, {101*s + 500*ms, true, 0}, {after: 102 * s}}, []time.Duration{101 * s, 101*s + 500*ms, 112 * s}},
		{"a full hand", many(fullHand, 100*s, true), []time.Duration{100 * s}},
		{"a full load", many(fullLoad+1, 100*s, false), []time.Duration{100 * s, 110 * s}},
		{"silence again", []delivery{{100 * s, true, 0}, {102*s + 500*ms, true, 0}}, []time.Duration{101 * s, 103*s + 500*ms}},
		{"a queue drains", []delivery{{100 * s, true, time.Hour}, {101 * s, true, time.Hour}, {after: 102 * s, away: time.Hour}}, []time.Duration{100 * s, 101 * s, 102 * s}},
		{"a queue has drained", []delivery{{100 * s, true, time.Hour}, {160 * s, true, time.Hour}, {after: 170 * s, away: time.Hour}}, []time.Duration{100 * s, 161 * s, 180 * s}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				start := time.Now()
				sink := lingering(t, []Feed{chip("a", "a")}, func(in *Intake) {
					who := &sender{}
					for i, d := range c.deliveries {
						time.Sleep(d.after - time.Since(start))
						synctest.Wait()
						delivery := Delivery{Topic: "a", Payload: []byte("1"), Link: 1, Away: d.away, ID: uint16(i)}
						if d.waits {
							delivery.From = who
						}
						in.Take(delivery)
					}
					time.Sleep(time.Minute)
				})
				var got []time.Duration
				for _, at := range sink.at {
					got = append(got, at.Sub(start))
				}
				if diff := cmp.Diff(c.commits, got); diff != "" {
					t.Error(diff)
				}
			})
		})
	}
}

// timed is a sink that notes when it was asked.
type timed struct {
	memory
	at []time.Time
}

func (s *timed) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	s.at = append(s.at, time.Now())
	return s.memory.Append(ctx, group)
}

func TestAcknowledgedOnlyAfterTheCommit(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{gate: make(chan struct{})}
		in, _ := prepare(t, sink, SystemClock(), chip("a", "a"))
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- in.Run(ctx) }()
		one, two := &sender{}, &sender{}
		for id := range uint16(10) {
			from := one
			if id%2 == 1 {
				from = two
			}
			in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: from, ID: id})
		}
		// What no sensor has is acknowledged too, in its turn.
		in.Take(Delivery{Topic: "elsewhere", Payload: []byte("1"), From: one, ID: 10})
		synctest.Wait()
		if acked, _ := one.told(); len(acked) > 0 {
			t.Errorf("acknowledged %v before the commit", acked)
		}
		for range 3 {
			select {
			case sink.gate <- struct{}{}:
			case <-time.After(time.Second):
			}
		}
		synctest.Wait()
		acked, errs := one.told()
		if diff := cmp.Diff([]uint16{0, 2, 4, 6, 8, 10}, acked); diff != "" || len(errs) > 0 {
			t.Error(diff, errs)
		}
		if acked, _ := two.told(); len(acked) != 5 {
			t.Errorf("the other publisher got %v", acked)
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

func TestFailingSinkDropsAndRecovers(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		full := errors.New("disk full")
		sink := &memory{fail: full}
		in, reg := prepare(t, sink, SystemClock(), chip("a", "a"), chip("b", "b"))
		in.Queue = 100
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- in.Run(ctx) }()
		who := &sender{}
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: 1})
		in.Take(Delivery{Topic: "b", Payload: []byte("2")}) // nobody sends this again
		time.Sleep(10 * time.Second)
		acked, errs := who.told()
		if len(acked) > 0 || len(errs) != 1 || !errors.Is(errs[0], full) {
			t.Errorf("acknowledged %v, told %v", acked, errs)
		}
		// A full queue turns away instead of holding the connection.
		for range 150 {
			in.Take(Delivery{Topic: "b", Payload: []byte("3")})
		}
		in.Take(Delivery{Topic: "a", Payload: []byte("4"), From: who, ID: 2})
		if _, errs := who.told(); len(errs) != 2 {
			t.Errorf("a publisher before a full queue was told %v", errs)
		}
		sink.setFail(nil)
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: 1, Again: true})
		time.Sleep(longWait)
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: 3, Again: true})
		time.Sleep(time.Second)
		if acked, _ := who.told(); !slices.Contains(acked, 3) {
			t.Errorf("after the recovery %v is acknowledged", acked)
		}
		count := map[string]int{}
		for _, r := range sink.all() {
			count[r.Sensor]++
		}
		if count["a"] != 1 || count["b"] != 100 {
			t.Errorf("stored %v, want one of a and the 100 of b that there was room for", count)
		}
		if n := testutil.ToFloat64(in.metrics.rejected.WithLabelValues("b", NotKept)); n != 51 {
			t.Errorf("%v counted as not kept, want 51", n)
		}
		if _, err := reg.Gather(); err != nil {
			t.Error(err)
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
	})
}

func TestEndingAnswersEverybody(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{gate: make(chan struct{})}
		in, _ := prepare(t, sink, SystemClock(), chip("a", "a"))
		in.Queue = 2
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- in.Run(ctx) }()
		who := &sender{}
		for id := range uint16(2) {
			in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: id})
			synctest.Wait()
		}
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: 2})
		blocked := make(chan struct{})
		go func() {
			defer close(blocked)
			in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: 3})
		}()
		synctest.Wait()
		cancel()
		<-blocked // turned away, not stuck
		sink.gate <- struct{}{}
		sink.gate <- struct{}{}
		if err := <-done; err != nil {
			t.Error(err)
		}
		in.Take(Delivery{Topic: "a", Payload: []byte("1"), From: who, ID: 4})
		acked, errs := who.told()
		if diff := cmp.Diff([]uint16{0, 1, 2}, acked); diff != "" {
			t.Error(diff)
		}
		if len(errs) != 2 || !errors.Is(errs[0], ErrClosed) || !errors.Is(errs[1], ErrClosed) {
			t.Errorf("the late ones were told %v", errs)
		}

		// A store that hangs holds the end up by ten seconds, not for ever.
		stuck, _ := prepare(t, &memory{gate: make(chan struct{})}, SystemClock(), chip("a", "a"))
		stuck.Take(Delivery{Topic: "a", Payload: []byte("1")})
		ended, stop := context.WithCancel(t.Context())
		stop()
		start := time.Now()
		if err := stuck.Run(ended); err == nil || !strings.Contains(err.Error(), "1 that nobody sends again") {
			t.Errorf("a lost reading is told as %v", err)
		}
		if took := time.Since(start); took != drainTime {
			t.Errorf("the end took %v", took)
		}
	})
}
