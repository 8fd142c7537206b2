// Package topics tells what arrives at a trial's broker, and what to write into
// trial.toml for it.
package topics

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/store"
)

// Heard is what arrived, and who else was at the broker.
type Heard struct {
	daemon.Heard
	Others *daemon.Neighbours
}

// Listen hears for so long what arrives, from the daemon, from the broker, or as the
// broker, and tells talk which.
func Listen(ctx context.Context, t *trial.Trial, patience time.Duration, talk io.Writer) (Heard, error) {
	if !t.Broker.Embedded {
		fmt.Fprintf(talk, "listening at %s for %s\n", t.Broker.URL, patience)
		return listenAt(ctx, t, patience)
	}
	_, err := os.Stat(filepath.Join(t.Dir, store.SocketName))
	if err == nil {
		fmt.Fprintf(talk, "the daemon listens for %s\n", patience)
		heard, err := daemon.Ask(ctx, t.Dir, patience)
		if !errors.Is(err, daemon.ErrNone) {
			return Heard{heard, new(daemon.Neighbours)}, err
		}
	}
	return listenAs(ctx, t, patience, talk)
}

// listenAt subscribes to everything at another broker.
func listenAt(ctx context.Context, t *trial.Trial, patience time.Duration) (Heard, error) {
	l, err := ingest.Listen(ingest.SystemClock(), t.Feeds)
	if err != nil {
		return Heard{}, err
	}
	r := t.Remote()
	r.ClientID += "-topics" // or the daemon's session would be taken over
	var mu sync.Mutex
	connected, cause := false, error(nil)
	others := daemon.NeighboursOf(t)
	presence := others.Presence(time.Now)
	presence.Topic = "" // the trial itself is not there by this
	session, err := ingest.NewSession(ingest.SessionConfig{
		Presence: presence,
		Remote:   r, Filters: []string{"#"}, Taker: l, Log: slog.New(slog.DiscardHandler), Passing: true,
		OnState: func(s ingest.State) {
			mu.Lock()
			defer mu.Unlock()
			connected = connected || s.Connected
			if s.Err != nil && !errors.Is(s.Err, ingest.ErrEnded) {
				cause = s.Err
			}
		},
	})
	if err != nil {
		return Heard{}, fmt.Errorf("[broker]: %w", err)
	}
	if err := forAWhile(ctx, patience, session.Run); err != nil {
		return Heard{}, err
	}
	mu.Lock()
	defer mu.Unlock()
	heard := Heard{daemon.Heard{Found: l.Found(), Dropped: l.Dropped()}, others}
	switch {
	case !connected && cause == nil:
		return Heard{}, fmt.Errorf("no connection to %s: it does not answer; see that it runs and that [broker] is right", t.Broker.URL)
	case !connected:
		return Heard{}, fmt.Errorf("no connection to %s: see that it runs and that [broker] is right (%w)", t.Broker.URL, cause)
	case errors.Is(cause, ingest.ErrRefused):
		return Heard{}, fmt.Errorf("%s does not let this trial's client listen to everything, as parstead topics must: allow it for a while, or write the sensors' topics into trial.toml by hand (%w)", t.Broker.URL, cause)
	case cause != nil && len(heard.Found) == 0:
		return Heard{}, fmt.Errorf("nothing heard at %s before it closed the connection: see that it lets this trial's client subscribe to everything (#), as parstead topics must (%w)", t.Broker.URL, cause)
	}
	return heard, nil
}

// listenAs is the broker for a while.
func listenAs(ctx context.Context, t *trial.Trial, patience time.Duration, talk io.Writer) (Heard, error) {
	l, err := ingest.Listen(ingest.SystemClock(), t.Feeds)
	if err != nil {
		return Heard{}, err
	}
	config := broker.Config{Listen: t.Broker.Listen, Taker: l, Log: slog.New(slog.DiscardHandler)}
	if config.Sensors, _, err = t.Broker.Logins(); err != nil {
		return Heard{}, err
	}
	b, err := broker.Open(config)
	if err != nil {
		return Heard{}, err
	}
	fmt.Fprintf(talk, "no daemon runs: being the broker at %s for %s; what arrives is not stored\n", b.Addr(), patience)
	if err := forAWhile(ctx, patience, b.Run); err != nil {
		return Heard{}, err
	}
	return Heard{daemon.Heard{Found: l.Found(), Dropped: l.Dropped()}, new(daemon.Neighbours)}, nil
}

// forAWhile runs work for so long, or until ctx ends.
func forAWhile(ctx context.Context, patience time.Duration, work func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	var g errgroup.Group
	g.Go(func() error { return work(ctx) })
	return g.Wait()
}
