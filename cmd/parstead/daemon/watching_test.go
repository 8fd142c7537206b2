package daemon

import (
	"context"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"sync"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
)

// watched is a daemon under test.
type watched struct {
	*Running
	tb testing.TB
}

// watchFolder starts a daemon that looks round every few milliseconds and stops
// with the test.
func watchFolder(tb testing.TB, dir string, o Options) *watched {
	tb.Helper()
	t, err := trial.Open(dir)
	if err != nil {
		tb.Fatal(err)
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Clock.Now == nil {
		o.Clock = ingest.SystemClock()
	}
	o.tick = 5 * time.Millisecond
	if o.linger == 0 {
		o.linger = -1
	}
	d, err := Open(tb.Context(), t, o)
	if err != nil {
		tb.Fatal(err)
	}
	w := &watched{d.Start(context.WithoutCancel(tb.Context())), tb}
	tb.Cleanup(func() { w.end() })
	return w
}

// looked waits until the daemon has seen its folder's files as they are now.
func (w *watched) looked() {
	w.tb.Helper()
	racktest.Eventually(w.tb, "a look at the folder", func() bool {
		w.adoption.mu.Lock()
		defer w.adoption.mu.Unlock()
		return w.adoption.adopted != nil && maps.Equal(w.adoption.adopted, stamps(w.trial.Load().Dir))
	})
}

// judged tells whether it is known what is wrong.
func (w *watched) judged() bool {
	_, known := w.conditions.list()
	return known
}

// holding is what is wrong.
func (w *watched) holding() []watch.Condition {
	list, _ := w.conditions.list()
	return list
}

// stop ends the daemon in order.
func (w *watched) stop() {
	w.tb.Helper()
	if err := w.Stop(); err != nil {
		w.tb.Error(err)
	}
}

// get asks the page.
func (w *watched) get(path string) string {
	w.tb.Helper()
	answer, err := http.Get("http://" + w.page.Addr().String() + path)
	if err != nil {
		w.tb.Fatal(err)
	}
	defer func() { _ = answer.Body.Close() }()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		w.tb.Fatal(err)
	}
	return string(body)
}

// device connects an MQTT client.
func (w *watched) device(id string) mqtt.Client {
	w.tb.Helper()
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + w.BrokerAddress()).SetClientID(id).SetAutoReconnect(false))
	if token := c.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		w.tb.Fatalf("connect: %v", token.Error())
	}
	w.tb.Cleanup(func() { c.Disconnect(0) })
	return c
}

// faultySink fails on demand before the store is asked.
type faultySink struct {
	ingest.Sink
	mu  sync.Mutex
	err error
}

func (f *faultySink) wrap(s ingest.Sink) ingest.Sink { f.Sink = s; return f }

func (f *faultySink) fail(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.err = err
}

func (f *faultySink) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	f.mu.Lock()
	err := f.err
	f.mu.Unlock()
	if err != nil {
		return nil, err
	}
	return f.Sink.Append(ctx, group)
}
