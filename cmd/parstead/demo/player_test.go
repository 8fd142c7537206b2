package demo

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"path/filepath"
	"testing"
	"time"

	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
	"parstead/store"
)

// bare is a daemon of the real broker, intake and database, and nothing else.
type bare struct {
	broker *broker.Broker
	db     *store.DB
	end    context.CancelFunc
	done   chan error
}

// starter starts bare daemons on one database. Feeds come from the world.
func starter(w *World, path string) func(context.Context, Setup) (Daemon, error) {
	return func(ctx context.Context, s Setup) (Daemon, error) {
		db, err := store.Open(path, store.Options{Now: s.Clock.Now})
		if err != nil {
			return nil, err
		}
		d := &bare{db: db, done: make(chan error, 2)}
		in, err := ingest.New(ingest.Config{
			Sink: db, Feeds: w.feeds(), Starts: w.start, Clock: s.Clock, Boot: db.Boot(), Log: slog.New(slog.DiscardHandler),
			OnStep: func(step ingest.Step) {
				_, err := db.AddEvent(ctx, light.Event{
					At: step.At, Kind: light.ClockStepped, Text: "the clock was set",
					Data: store.ClockStep(step.Boot, step.Uptime, step.By),
				})
				if err != nil {
					panic(err)
				}
			},
		})
		if err != nil {
			return nil, err
		}
		d.broker, err = broker.Open(broker.Config{
			Listen: "127.0.0.1:0", Taker: s.Watch(in), Log: slog.New(slog.DiscardHandler),
		})
		if err != nil {
			return nil, err
		}
		ctx, d.end = context.WithCancel(ctx)
		go func() { d.done <- d.broker.Run(ctx) }()
		go func() { d.done <- in.Run(ctx) }()
		return d, nil
	}
}

func (d *bare) Broker() string { return d.broker.Addr().String() }

func (d *bare) Note(ctx context.Context, e light.Event) error {
	_, err := d.db.AddEvent(ctx, e)
	return err
}

func (d *bare) Stop() error {
	d.end()
	return errors.Join(<-d.done, <-d.done, d.db.Close())
}

// feeds tells an intake where the world's sensors speak.
func (w *World) feeds() []ingest.Feed {
	var feeds []ingest.Feed
	for _, p := range w.probes {
		feeds = append(feeds, ingest.Feed{
			Topic: p.Topic, Value: p.Pointer, Time: p.TimePointer, TimeFormat: ingest.RFC3339, Sensor: p.Sensor,
		})
	}
	return feeds
}

// The real path stores what the season's sensors said: the same readings, at
// the same times, that the world gives without broker and database.
func TestSeasonThroughTheRealPath(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 7, Days: MinDays})
	path := filepath.Join(t.TempDir(), store.FileName)
	last := 0
	p := &Player{World: w, Start: starter(w, path), Progress: func(n int) { last = n }}
	played, err := p.Play(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if last != p.Ticks() || played.Ticks != p.Ticks() {
		t.Errorf("%d ticks told, %d played, want %d", last, played.Ticks, p.Ticks())
	}
	if played.Notes != len(w.Notes()) || played.Starts != 2 {
		t.Errorf("%d notes and %d starts, want %d and 2", played.Notes, played.Starts, len(w.Notes()))
	}

	db, err := store.Open(path, store.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer closing(t, db)
	view, err := db.View()
	if err != nil {
		t.Fatal(err)
	}
	defer closing(t, view)
	want := w.Readings(Every)
	for name, series := range want.Readings {
		var got light.Series
		if err := view.Series(t.Context(), name, light.Span{}, &got); err != nil {
			t.Fatal(err)
		}
		same(t, name, &got, series)
	}
	events, err := view.Events(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	steps := 0
	for _, e := range events {
		if e.Kind == light.ClockStepped {
			steps++
		}
	}
	if steps != 1 {
		t.Errorf("%d steps of the clock in the log, want 1", steps)
	}
}

// same compares stored readings with those the world gives; stale ones, which
// this broker never delivers, apart.
func same(t *testing.T, name string, got, want *light.Series) {
	t.Helper()
	j := 0
	for i := range want.Times {
		if want.Marks != nil && want.Marks[i]&light.Stale != 0 {
			continue
		}
		if j >= got.Len() {
			t.Errorf("%s: only %d readings stored", name, got.Len())
			return
		}
		if got.Times[j] != want.Times[i] || got.Values[j] != want.Values[i] {
			t.Errorf("%s: reading %d is %v at %s, want %v at %s", name, j,
				got.Values[j], time.Unix(0, got.Times[j]).UTC(), want.Values[i], time.Unix(0, want.Times[i]).UTC())
			return
		}
		j++
	}
	if j != got.Len() {
		t.Errorf("%s: %d readings stored, want %d", name, got.Len(), j)
	}
}

func closing(t *testing.T, c io.Closer) {
	t.Helper()
	if err := c.Close(); err != nil {
		t.Error(err)
	}
}

// A daemon that dies in mid-season ends the season with an error that says so.
func TestDaemonDies(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Config{Seed: 7, Days: MinDays})
	start := starter(w, filepath.Join(t.TempDir(), store.FileName))
	var d *bare
	p := &Player{World: w}
	p.Start = func(ctx context.Context, s Setup) (Daemon, error) {
		started, err := start(ctx, s)
		if err == nil {
			d = started.(*bare)
		}
		return started, err
	}
	p.Progress = func(n int) {
		if n == 500 {
			d.end()
		}
	}
	if _, err := p.Play(t.Context()); err == nil {
		t.Error("the season went on without a daemon")
	}
	if p.played.Ticks > 600 {
		t.Errorf("noticed only after %d ticks", p.played.Ticks)
	}
}

func TestSeasonIsCancelled(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	w := newWorld(t, Config{Seed: 7, Days: MinDays})
	p := &Player{World: w, Start: starter(w, filepath.Join(t.TempDir(), store.FileName))}
	p.Progress = func(n int) {
		if n == 100 {
			cancel()
		}
	}
	if _, err := p.Play(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("a cancelled season ends with %v", err)
	}
}
