package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
	"parstead/store"
)

// midday is a moment of the test trials at which their lamp has long been on.
var midday = time.Date(2026, 8, 5, 12, 0, 0, 0, time.UTC)

// smallTrial writes a trial of two bins with a light sensor each, lit from 06:00
// to 20:00 UTC, on ports of the system's choice, and returns its folder.
func smallTrial(tb testing.TB, more string) string {
	tb.Helper()
	dir := tb.TempDir()
	text := `[trial]
name = "test rack"
timezone = "UTC"
starts = 2026-08-01
ends = 2026-08-30
[broker]
listen = "127.0.0.1:0"
[page]
listen = "127.0.0.1:0"
` + more + `
[[lamp]]
name = "bar"
on = "06:00"
off = "20:00"
`
	for _, bin := range []string{"upper", "lower"} {
		text += fmt.Sprintf("[[bin]]\nname = %[1]q\nrows = 2\ncolumns = 3\npitch_cm = [6, 6]\nlamp = \"bar\"\ntarget_dli = 5.0\n"+
			"[[sensor]]\nname = %[1]q\nmeasures = \"ppfd\"\nbin = %[1]q\nrow = 1\ncolumn = 1\ntopic = \"rack/%[1]s\"\n", bin)
	}
	if err := os.WriteFile(filepath.Join(dir, "trial.toml"), []byte(text), 0o600); err != nil {
		tb.Fatal(err)
	}
	return dir
}

// hand is a clock that a test moves.
type hand struct{ now, from atomic.Int64 }

func newHand(at time.Time) *hand {
	h := &hand{}
	h.now.Store(at.UnixNano())
	h.from.Store(at.UnixNano())
	return h
}

func (h *hand) set(at time.Time)      { h.now.Store(at.UnixNano()) }
func (h *hand) move(by time.Duration) { h.now.Add(int64(by)) }
func (h *hand) at() time.Time         { return time.Unix(0, h.now.Load()).UTC() }
func (h *hand) clock() ingest.Clock {
	return ingest.Clock{Now: h.at, Uptime: func() time.Duration { return time.Duration(h.now.Load() - h.from.Load()) }}
}

// lived fills the folder's database with days of readings up to a moment, one
// each five minutes: value while the lamp is on, else 0.
func lived(tb testing.TB, dir string, until time.Time, days int, value float64) {
	tb.Helper()
	w, err := store.OpenWriter(tb.Context(), dir, store.Options{Now: func() time.Time { return until }})
	if err != nil {
		tb.Fatal(err)
	}
	var group []light.Reading
	for t := until.AddDate(0, 0, -days); t.Before(until); t = t.Add(5 * time.Minute) {
		for _, bin := range []string{"upper", "lower"} {
			r := light.Reading{Sensor: bin, At: t, Arrived: t}
			if h := t.Hour(); h >= 6 && h < 20 {
				r.Value = value + float64(t.Minute()%3)/10
			}
			group = append(group, r)
		}
	}
	_, err = w.Append(tb.Context(), group)
	if err = errors.Join(err, w.Close()); err != nil {
		tb.Fatal(err)
	}
}

// watched is a daemon under test.
type watched struct {
	*running
	tb testing.TB
}

// watchFolder starts a daemon that looks round every few milliseconds and stops
// with the test.
func watchFolder(tb testing.TB, dir string, o daemonOptions) *watched {
	tb.Helper()
	t, err := trial.Open(dir)
	if err != nil {
		tb.Fatal(err)
	}
	if o.log == nil {
		o.log = slog.New(slog.DiscardHandler)
	}
	if o.clock.Now == nil {
		o.clock = ingest.SystemClock()
	}
	o.tick = 5 * time.Millisecond
	if o.linger == 0 {
		o.linger = -1
	}
	d, err := openDaemon(tb.Context(), t, o)
	if err != nil {
		tb.Fatal(err)
	}
	w := &watched{start(context.WithoutCancel(tb.Context()), d, d.source.(*broker.Broker).Addr().String()), tb}
	tb.Cleanup(func() { w.end() })
	return w
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
	c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + w.address).SetClientID(id).SetAutoReconnect(false))
	if token := c.Connect(); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		w.tb.Fatalf("connect: %v", token.Error())
	}
	w.tb.Cleanup(func() { c.Disconnect(0) })
	return c
}

// send publishes a reading and waits for its acknowledgement.
func send(tb testing.TB, c mqtt.Client, topic string, value float64) {
	tb.Helper()
	if token := c.Publish(topic, 1, false, fmt.Sprint(value)); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		tb.Fatalf("publish: %v", token.Error())
	}
}

// eventually waits until the test's condition holds.
func eventually(tb testing.TB, what string, holds func() bool) {
	tb.Helper()
	for deadline := time.Now().Add(20 * time.Second); !holds(); time.Sleep(2 * time.Millisecond) {
		if time.Now().After(deadline) {
			tb.Fatalf("not within 20 s: %s", what)
		}
	}
}

// outbox is a [tell] command that appends each message to a file.
type outbox struct {
	tb   testing.TB
	path string
}

func newOutbox(tb testing.TB) outbox { return outbox{tb, filepath.Join(tb.TempDir(), "out")} }

func (o outbox) command() string { return fmt.Sprintf(`command = ["sh", "-c", "cat >> %s"]`, o.path) }

// messages lists what was sent, as "condition bin sensor", "over" in front of
// what has ended.
func (o outbox) messages() (short []string, all []tell.Message) {
	o.tb.Helper()
	text, err := os.ReadFile(o.path)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		o.tb.Fatal(err)
	}
	for in := json.NewDecoder(strings.NewReader(string(text))); ; {
		var m tell.Message
		if err := in.Decode(&m); err != nil {
			return short, all
		}
		words := string(m.Kind) + " " + m.Bin + " " + m.Sensor
		if m.Until != nil {
			words = "over " + words
		}
		short, all = append(short, strings.Join(strings.Fields(words), " ")), append(all, m)
	}
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
