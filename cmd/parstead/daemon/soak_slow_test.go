//go:build slow

package daemon

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sync/atomic"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"
	"go.uber.org/goleak"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/store"
)

// soaked is what a soak looks at from time to time.
type soaked struct {
	t    *testing.T
	heap []uint64 // after garbage collection, bytes
	took []time.Duration
	page atomic.Pointer[string] // where the page is; nil while there is none
}

// weigh notes what stays: the least of some looks, for the page is being drawn
// and readings are being packed all the while, and what that holds comes and goes.
func (s *soaked) weigh(when string) {
	least := uint64(math.MaxUint64)
	var m runtime.MemStats
	for range 20 {
		runtime.GC()
		runtime.GC()
		runtime.ReadMemStats(&m)
		least = min(least, m.HeapAlloc)
		time.Sleep(20 * time.Millisecond)
	}
	s.heap = append(s.heap, least)
	s.t.Logf("%s: heap %.1f MiB, %d goroutines", when, float64(least)/(1<<20), runtime.NumGoroutine())
}

// visit asks for the page again and again and notes how long it took.
func (s *soaked) visit(ctx context.Context, pause time.Duration) {
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	for ctx.Err() == nil {
		if url := s.page.Load(); url != nil {
			begun := time.Now()
			answer, err := client.Get(*url)
			if err == nil {
				_ = answer.Body.Close()
				if s.page.Load() == url && answer.StatusCode != http.StatusOK {
					s.t.Errorf("the page: %s", answer.Status)
				}
				s.took = append(s.took, time.Since(begun))
			} else if s.page.Load() == url && ctx.Err() == nil {
				s.t.Errorf("the page: %v", err)
			}
		}
		time.Sleep(pause)
	}
}

func middle(took []time.Duration, share float64) time.Duration {
	slices.Sort(took)
	return took[int(share*float64(len(took)-1))]
}

// 200 days through the daemon: the whole season of the simulated rack, with its
// faults, its power cut, its wrong clock and the change to winter time, then 46
// days more. Memory stays flat, the file grows as packed readings do, the page
// answers all the while, and nothing is left running.
func TestSoak(t *testing.T) {
	left := goleak.IgnoreCurrent()
	dir := filepath.Join(t.TempDir(), "season")
	world, err := demo.New(demo.Config{Seed: 3})
	if err != nil {
		t.Fatal(err)
	}
	if err := world.WriteFolder(dir); err != nil {
		t.Fatal(err)
	}
	s := &soaked{t: t}
	ctx, end := context.WithCancel(t.Context())
	visited := make(chan struct{})
	go func() { defer close(visited); s.visit(ctx, 20*time.Millisecond) }()

	sent := s.season(dir, world) + s.more(dir, world, 46)
	end()
	<-visited
	http.DefaultClient.CloseIdleConnections()
	busy := middle(s.took, 0.95)

	first, last := s.heap[1], s.heap[len(s.heap)-1]
	if last > first+first/2+(4<<20) {
		t.Errorf("the heap grew from %d to %d bytes", first, last)
	}
	idle := s.idle(dir)
	t.Logf("the page: %s at rest (median), %s while 200 days pass in some seconds (95th of a hundred of %d)", idle, busy, len(s.took))
	if busy > 20*idle {
		t.Errorf("the page took %s, at rest %s", busy, idle)
	}
	s.measure(dir, sent)
	goleak.VerifyNone(t, left)
}

// season plays the simulated season and returns how many messages that were.
func (s *soaked) season(dir string, world *demo.World) int {
	tr, err := trial.Open(dir)
	if err != nil {
		s.t.Fatal(err)
	}
	listen := *tr
	listen.Broker.Listen, listen.Page.Listen = "127.0.0.1:0", "127.0.0.1:0"
	player := &demo.Player{World: world}
	player.Start = func(ctx context.Context, setup demo.Setup) (demo.Daemon, error) {
		d, err := Open(ctx, &listen, Options{Clock: setup.Clock, Log: quietLog, Watch: setup.Watch})
		if err != nil {
			return nil, err
		}
		url := d.PageURL()
		s.page.Store(&url)
		return &soakedDaemon{d.Start(ctx), s}, nil
	}
	quarter := player.Ticks() / 4
	player.Progress = func(n int) {
		if n%quarter == 0 {
			s.weigh(fmt.Sprintf("day %d", n*world.Days/player.Ticks()))
		}
	}
	played, err := player.Play(s.t.Context())
	if err != nil {
		s.t.Fatal(err)
	}
	s.t.Logf("season: %d messages, %d starts", played.Messages, played.Starts)
	return played.Messages
}

var quietLog = slog.New(slog.DiscardHandler)

// soakedDaemon is a daemon whose page is not asked for any more once it ends.
type soakedDaemon struct {
	*Running
	s *soaked
}

// Broker is where devices connect.
func (d *soakedDaemon) Broker() string { return d.BrokerAddress() }

// Stop ends the daemon in order.
func (d *soakedDaemon) Stop() error {
	d.s.page.Store(nil)
	return d.Running.Stop()
}

// counting counts the deliveries that were taken.
type counting struct {
	ingest.Taker
	n atomic.Int64
}

func (c *counting) Take(d ingest.Delivery) { c.Taker.Take(d); c.n.Add(1) }

// more lets the trial go on for some days, with what its sensors said as many
// days before, and returns how many messages that were.
func (s *soaked) more(dir string, world *demo.World, days int) int {
	ends := world.Rack.Ends
	config := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(config)
	if err != nil {
		s.t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("= "+ends.String()), []byte("= "+ends.Add(days).String()), 1)
	text = bytes.ReplaceAll(text, []byte("127.0.0.1:1883"), []byte("127.0.0.1:0"))
	text = bytes.ReplaceAll(text, []byte("127.0.0.1:8620"), []byte("127.0.0.1:0"))
	if err := os.WriteFile(config, text, 0o600); err != nil {
		s.t.Fatal(err)
	}
	from := world.Rack.Trial().Until
	clock := racktest.NewClock(from)
	taken := &counting{}
	w := watchFolder(s.t, dir, Options{Clock: clock.Ingest(), Watch: func(next ingest.Taker) ingest.Taker {
		taken.Taker = next
		return taken
	}})
	url := w.PageURL()
	s.page.Store(&url)
	c := w.device("rack")
	back := time.Duration(days) * 24 * time.Hour
	var messages []demo.Message
	var tokens []mqtt.Token
	sent, ticks := int64(0), days*24*12
	for i := range ticks {
		now := from.Add(time.Duration(i) * demo.Every)
		then := now.Add(-back)
		clock.Set(now)
		messages = world.Messages(then, messages[:0])
		for _, m := range messages {
			payload := bytes.ReplaceAll(m.Payload, []byte(then.UTC().Format(time.RFC3339)), []byte(now.UTC().Format(time.RFC3339)))
			tokens = append(tokens, c.Publish(m.Topic, 1, m.Retain, payload))
			sent++
		}
		for taken.n.Load() < sent {
			time.Sleep(20 * time.Microsecond)
		}
		if len(tokens) > 2000 {
			for _, token := range tokens {
				if !token.WaitTimeout(20*time.Second) || token.Error() != nil {
					s.t.Fatal("no acknowledgement: ", token.Error())
				}
			}
			tokens = tokens[:0]
		}
		if i%(ticks/2) == ticks/4 {
			s.weigh(fmt.Sprintf("day %d", world.Days+i/288))
		}
	}
	s.page.Store(nil)
	c.Disconnect(100)
	w.stop()
	return int(sent)
}

// idle is how long the page takes when nothing else happens.
func (s *soaked) idle(dir string) time.Duration {
	clock := racktest.NewClock(time.Time{})
	tr, err := trial.Open(dir)
	if err != nil {
		s.t.Fatal(err)
	}
	clock.Set(tr.Rack.Trial().Until.Add(-time.Hour))
	w := watchFolder(s.t, dir, Options{Clock: clock.Ingest()})
	racktest.Eventually(s.t, "readiness", func() bool { return w.totals.ready() == nil })
	quiet := &soaked{t: s.t}
	url := w.PageURL()
	quiet.page.Store(&url)
	ctx, end := context.WithTimeout(s.t.Context(), 2*time.Second)
	defer end()
	go func() {
		for ctx.Err() == nil { // no state serves twice, as in the soak
			clock.Move(3 * time.Second)
			time.Sleep(20 * time.Millisecond)
		}
	}()
	quiet.visit(ctx, 40*time.Millisecond)
	quiet.page.Store(nil)
	w.stop()
	return middle(quiet.took, 0.5)
}

// measure holds the file against what packed readings take.
func (s *soaked) measure(dir string, sent int) {
	path := filepath.Join(dir, store.FileName)
	db, err := store.Open(path, store.Options{})
	if err != nil {
		s.t.Fatal(err)
	}
	grown, err := os.Stat(path)
	if err != nil {
		s.t.Fatal(err)
	}
	if err := db.Pack(s.t.Context(), time.Now().AddDate(10, 0, 0)); err != nil {
		s.t.Error(err)
	}
	stats, err := db.Stats()
	if err != nil {
		s.t.Error(err)
	}
	var readings uint64
	for _, n := range stats.Readings {
		readings += n
	}
	each := float64(stats.LiveBytes) / float64(readings)
	s.t.Logf("%d readings out of %d messages, file %.2f MB, live pages %.2f MB = %.2f bytes a reading",
		readings, sent, float64(grown.Size())/1e6, float64(stats.LiveBytes)/1e6, each)
	if each > 2 {
		s.t.Errorf("%.2f bytes a reading", each)
	}
	if step := int64(2 << 20); grown.Size() > stats.LiveBytes+2*step {
		s.t.Errorf("the file takes %d bytes for %d of live pages", grown.Size(), stats.LiveBytes)
	}
	if err := db.Close(); err != nil {
		s.t.Error(err)
	}
}
