package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"github.com/schollz/progressbar/v3"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/trial"
)

// play runs the season against a daemon on free ports.
func (c *demoCmd) play(e *env, world *demo.World, t *trial.Trial) error {
	listen := *t
	listen.Broker.Listen, listen.Page.Listen = "127.0.0.1:0", "127.0.0.1:0"
	player := &demo.Player{World: world}
	player.Start = func(ctx context.Context, s demo.Setup) (demo.Daemon, error) {
		log := slog.New(slog.NewTextHandler(e.stderr, &slog.HandlerOptions{Level: slog.LevelError}))
		d, err := daemon.Open(ctx, &listen, daemon.Options{Clock: s.Clock, Log: log, NoPage: c.NoPage, Watch: s.Watch})
		if err != nil {
			return nil, err
		}
		if url := d.PageURL(); url != "" && listen.Page.Listen != d.PageAddress() {
			listen.Page.Listen = d.PageAddress() // stays after the power cut
			fmt.Fprintf(e.stdout, "The page while it plays: %s\n", url)
		}
		return played{d.Start(ctx), d.BrokerAddress()}, nil
	}
	ticks := player.Ticks()
	progress, done := seasonBar(e.stderr, world, ticks)
	player.Progress = progress
	begun := time.Now()
	season, err := player.Play(e.ctx)
	done()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "\n1. The season, through broker, daemon and database\n   %d readings in %.0f s, each confirmed only when it was on disk.\n",
		season.Messages, time.Since(begun).Seconds())
	return err
}

// played is a daemon that a season is played to.
type played struct {
	*daemon.Running
	address string
}

// Broker is where devices connect.
func (p played) Broker() string { return p.address }

// seasonBar shows how far the season is: a bar on a terminal, else a line for
// every tenth.
func seasonBar(w io.Writer, world *demo.World, ticks int) (progress func(int), done func()) {
	if isTerminal(w) {
		return terminalBar(w, world, ticks)
	}
	tenth := 0
	return func(n int) {
		if now := n * 10 / ticks; now > tenth {
			tenth = now
			fmt.Fprintf(w, "season: %d of %d days\n", n*world.Days/ticks, world.Days)
		}
	}, func() {}
}

// isTerminal tells whether somebody may be looking on at w.
func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

func terminalBar(w io.Writer, world *demo.World, ticks int) (progress func(int), done func()) {
	bar := progressbar.NewOptions(ticks,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetWidth(36),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionSetPredictTime(true),
		progressbar.OptionClearOnFinish(),
	)
	day := 0
	return func(n int) {
		if d := min(world.Days, n*world.Days/ticks+1); d != day {
			day = d
			bar.Describe(fmt.Sprintf("day %3d of %d", day, world.Days))
		}
		_ = bar.Set(n) // a bar that can't be drawn is no reason to stop
	}, func() { _ = bar.Finish() }
}
