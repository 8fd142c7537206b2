package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
	"parstead/store"
)

// foreignTrial is smallTrial with another broker.
func foreignTrial(t *testing.T, address, more string) (dir string) {
	t.Helper()
	dir = racktest.SmallTrial(t, more)
	path := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	other := fmt.Sprintf("url = \"tcp://%s\"\nclient_id = \"same\"", address)
	text = []byte(strings.Replace(string(text), `listen = "127.0.0.1:0"`, other, 1))
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// watchForeign starts a daemon on it and waits until it is connected.
func watchForeign(t *testing.T, dir string, o Options) *Running {
	t.Helper()
	tr, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	o.Log, o.tick, o.linger, o.NoPage = slog.New(slog.DiscardHandler), 5*time.Millisecond, -1, true
	d, err := Open(t.Context(), tr, o)
	if err != nil {
		t.Fatal(err)
	}
	r := d.Start(context.WithoutCancel(t.Context()))
	t.Cleanup(r.end)
	racktest.Eventually(t, "the broker is connected", d.source.Connected)
	return r
}

func TestLink(t *testing.T) {
	t.Parallel()
	var l link
	gone := errors.New("connection refused")
	at := func(minutes int) time.Time { return racktest.Midday.Add(time.Duration(minutes) * time.Minute) }
	for i, c := range []struct {
		minute int
		state  *ingest.State // nil: no change
		says   string        // "" for no condition
	}{
		{0, nil, ""},
		{0, &ingest.State{Err: gone}, ""},
		{1, &ingest.State{Err: gone}, ""},
		{2, nil, "connection refused"},
		{3, &ingest.State{Connected: true}, "was away for 3m0s and is back"},
		{4, &ingest.State{Connected: true, Err: errors.New("refuses rack/a")}, "refuses rack/a"},
		{13, &ingest.State{Connected: true}, ""},
		{14, &ingest.State{Err: ingest.ErrTakenOver, TakenOver: true}, "client_id"},
		{15, &ingest.State{Connected: true}, "client_id"},
		{24, nil, ""},
	} {
		if c.state != nil {
			l.note(*c.state, at(c.minute))
		}
		got, ok := l.condition("tcp://host", at(c.minute))
		if ok != (c.says != "") || !strings.Contains(got.Says, c.says) || ok && (got.Do == "" || !strings.Contains(got.Says, "tcp://host")) {
			t.Errorf("step %d: %v, %+v, want %q", i, ok, got, c.says)
		}
	}
}

// Another client with the same client_id takes the session over, again and again.
func TestATakeoverIsTold(t *testing.T) {
	t.Parallel()
	b, out, clock := racktest.NewForeignBroker(t, 0), racktest.NewOutbox(t), racktest.NewClock(racktest.Midday)
	r := watchForeign(t, foreignTrial(t, b.Address, "[tell]\n"+out.Command()+"\n"), Options{Clock: clock.Ingest()})
	for range 3 {
		racktest.Eventually(t, "it is connected", r.source.Connected)
		racktest.Client(t, b.Address, "same")
		racktest.Eventually(t, "it is thrown out", func() bool { return !r.source.Connected() })
	}
	racktest.Eventually(t, "it is told", func() bool {
		clock.Move(time.Minute)
		r.conditions.look(t.Context(), clock.At())
		short, _ := out.Messages()
		return slices.Contains(short, "broker")
	})
	if err := r.Stop(); err != nil {
		t.Error(err)
	}
	short, all := out.Messages()
	if i := slices.Index(short, "broker"); !strings.Contains(all[i].Says, "same client_id") || !strings.Contains(all[i].Do, "client_id of its own") {
		t.Errorf("told: %+v", all[i])
	}
}

// A broker that is away is one cause: not every sensor's silence too.
func TestABrokerThatIsAwayIsToldOnce(t *testing.T) {
	t.Parallel()
	b, out, clock := racktest.NewForeignBroker(t, 0), racktest.NewOutbox(t), racktest.NewClock(racktest.Midday)
	dir := foreignTrial(t, b.Address, "[tell]\n"+out.Command()+"\n")
	racktest.Lived(t, dir, racktest.Midday, 3, 100)
	r := watchForeign(t, dir, Options{Clock: clock.Ingest()})
	minutes := func(n int) {
		for range n {
			clock.Move(time.Minute)
			r.conditions.look(t.Context(), clock.At())
		}
	}
	b.Stop()
	racktest.Eventually(t, "the loss is seen", func() bool { return !r.source.Connected() })
	minutes(60)
	b.Start()
	racktest.Eventually(t, "it is connected", r.source.Connected)
	c := racktest.Client(t, b.Address, "upper")
	before := kept(t, r, "upper") + kept(t, r, "lower")
	racktest.Send(t, c, "rack/upper", 100)
	racktest.Send(t, c, "rack/lower", 100)
	// They count as what the broker had kept, so they are never the latest; the next
	// must not come on their heels.
	racktest.Eventually(t, "the first are stored", func() bool { return kept(t, r, "upper")+kept(t, r, "lower") == before+2 })
	for i := range 15 {
		minutes(1)
		value := 100 + float64(i+1)/10
		racktest.Send(t, c, "rack/upper", value)
		racktest.Send(t, c, "rack/lower", value)
		racktest.Eventually(t, "the readings are stored", func() bool {
			latest := r.db.Latest()
			return latest["upper"].Value == value && latest["lower"].Value == value
		})
	}
	racktest.Eventually(t, "the end is told", func() bool { short, _ := out.Messages(); return slices.Contains(short, "over broker") })
	if err := r.Stop(); err != nil {
		t.Error(err)
	}
	short, all := out.Messages()
	if diff := cmp.Diff([]string{"broker", "over broker"}, short); diff != "" {
		t.Error(diff)
	}
	if !strings.Contains(all[0].Says, "can't be reached") {
		t.Errorf("told: %+v", all[0])
	}
}

// kept counts a sensor's stored readings.
func kept(t *testing.T, r *Running, sensor string) int {
	t.Helper()
	view, err := r.db.View()
	if err != nil {
		t.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	var series light.Series
	if err := view.Series(t.Context(), sensor, light.Span{}, &series); err != nil {
		t.Fatal(err)
	}
	return series.Len()
}

// A disk that fails to sync ends the daemon; the broker gives the next one what
// was not acknowledged.
func TestAFailedDiskLosesNothingOfAnotherBroker(t *testing.T) {
	t.Parallel()
	b := racktest.NewForeignBroker(t, 0)
	dir := foreignTrial(t, b.Address, "")
	sink := &faultySink{}
	r := watchForeign(t, dir, Options{sink: sink.wrap, Clock: racktest.NewClock(racktest.Midday).Ingest()})
	c := racktest.Client(t, b.Address, "chip")
	racktest.Send(t, c, "rack/upper", 100)
	racktest.Eventually(t, "the first is stored", func() bool { return len(r.db.Latest()) == 1 })
	sink.fail(fmt.Errorf("keep 1 readings: %w (%w)", store.ErrFailed, &os.PathError{Op: "fsync", Path: "readings.db", Err: syscall.EIO}))
	racktest.Send(t, c, "rack/upper", 101) // the broker has it
	select {
	case err := <-r.done:
		if !errors.Is(err, store.ErrFailed) {
			t.Errorf("ended with %v", err)
		}
		r.done <- nil
	case <-time.After(20 * time.Second):
		t.Fatal("the daemon goes on")
	}
	racktest.Send(t, c, "rack/lower", 102)
	r = watchForeign(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	racktest.Eventually(t, "all is stored", func() bool {
		view, err := r.db.View()
		if err != nil {
			t.Fatal(err)
		}
		defer view.Close() //nolint:errcheck // it only read
		values := map[float64]bool{}
		for _, sensor := range []string{"upper", "lower"} {
			var s light.Series
			if err := view.Series(t.Context(), sensor, light.Span{}, &s); err != nil {
				t.Fatal(err)
			}
			for _, v := range s.Values {
				values[v] = true
			}
		}
		return values[100] && values[101] && values[102]
	})
	if err := r.Stop(); err != nil {
		t.Error(err)
	}
}

// Two sensors with one client id at the embedded broker throw one another out.
func TestTwoSensorsOfOneIDAreTold(t *testing.T) {
	t.Parallel()
	tr, err := trial.Open(racktest.SmallTrial(t, ""))
	if err != nil {
		t.Fatal(err)
	}
	clock := racktest.NewClock(racktest.Midday)
	d, err := Open(t.Context(), tr, Options{Clock: clock.Ingest(), Log: slog.New(slog.DiscardHandler), NoPage: true})
	if err != nil {
		t.Fatal(err)
	}
	r := d.Start(context.WithoutCancel(t.Context()))
	t.Cleanup(r.end)
	for n := range 6 {
		if c, ok := r.linkCondition(clock.At()); ok && n < 4 {
			t.Fatalf("told after %d: %s", n, c.Says)
		}
		racktest.Client(t, r.BrokerAddress(), "lux meter") // and the one before is out
	}
	racktest.Eventually(t, "it is told", func() bool {
		c, ok := r.linkCondition(clock.At())
		return ok && strings.Contains(c.Says, `Two sensors call themselves "lux meter"`)
	})
	clock.Move(shownFor)
	if c, ok := r.linkCondition(clock.At()); ok {
		t.Errorf("told for ever: %s", c.Says)
	}
	if err := r.Stop(); err != nil {
		t.Error(err)
	}
}
