package ingest

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"parstead/light"
)

func TestARackAtRestSparesItsCard(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		sink := &memory{}
		in, err := New(Config{Sink: sink, Feeds: []Feed{chip("a", "a")}, Clock: SystemClock(), Log: quiet})
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- in.Run(ctx) }()
		const minutes = 60
		for range minutes * 16 { // eight sensors of light and temperature, QoS 0
			time.Sleep(time.Minute / 16)
			in.Take(Delivery{Topic: "a", Payload: []byte("1")})
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if n := sink.commits(); n > minutes*6 || len(sink.all()) != minutes*16 {
			t.Errorf("%d readings in %d commits, want at most one every 10 s", len(sink.all()), n)
		}
	})
}

func TestLingering(t *testing.T) {
	t.Parallel()
	// Each delivery comes so long after the start; each commit must come then.
	type delivery struct {
		after time.Duration
		waits bool
	}
	seconds := func(s ...float64) (d []time.Duration) {
		for _, s := range s {
			d = append(d, time.Duration(s*float64(time.Second)))
		}
		return d
	}
	burst := make([]delivery, fullHand)
	for i := range burst {
		burst[i] = delivery{100 * time.Second, true}
	}
	for _, c := range []struct {
		name       string
		deliveries []delivery
		commits    []time.Duration
	}{
		{"nobody waits", []delivery{{100 * time.Second, false}, {105 * time.Second, false}}, seconds(110)},
		{"a publisher waits", []delivery{{100 * time.Second, true}}, seconds(101)},
		{"a publisher joins", []delivery{{100 * time.Second, false}, {104 * time.Second, true}}, seconds(105)},
		{"late joiner never puts off", []delivery{{100 * time.Second, false}, {109500 * time.Millisecond, true}}, seconds(110)},
		{"busy", []delivery{{100 * time.Second, true}, {101500 * time.Millisecond, true}, {102 * time.Second, false}}, seconds(101, 101.5, 102)},
		{"a full hand", burst, seconds(100)},
		{"silence again", []delivery{{100 * time.Second, true}, {102500 * time.Millisecond, true}}, seconds(101, 103.5)},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			synctest.Test(t, func(t *testing.T) {
				start := time.Now()
				sink := &timed{}
				in, err := New(Config{Sink: sink, Feeds: []Feed{chip("a", "a")}, Clock: SystemClock(), Log: quiet})
				if err != nil {
					t.Fatal(err)
				}
				ctx, cancel := context.WithCancel(t.Context())
				done := make(chan error)
				go func() { done <- in.Run(ctx) }()
				who := &sender{}
				for i, d := range c.deliveries {
					time.Sleep(d.after - time.Since(start))
					delivery := Delivery{Topic: "a", Payload: []byte("1"), ID: uint16(i)}
					if d.waits {
						delivery.From = who
					}
					in.Take(delivery)
				}
				time.Sleep(time.Minute)
				cancel()
				if err := <-done; err != nil {
					t.Fatal(err)
				}
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

func TestEndingSettlesEverything(t *testing.T) {
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
