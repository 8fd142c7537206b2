package main

import (
	"context"
	"log/slog"
	"testing"

	"parstead/cmd/parstead/daemon"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
)

// beside starts a daemon on the folder, which a test's commands work beside. It
// stops with the test.
func beside(tb testing.TB, dir string, clock ingest.Clock) *daemon.Running {
	tb.Helper()
	return besideWith(tb, dir, daemon.Options{Clock: clock})
}

// besideWith is beside with what else the daemon is told.
func besideWith(tb testing.TB, dir string, o daemon.Options) *daemon.Running {
	tb.Helper()
	t, err := trial.Open(dir)
	if err != nil {
		tb.Fatal(err)
	}
	o.Log = slog.New(slog.DiscardHandler)
	d, err := daemon.Open(tb.Context(), t, o)
	if err != nil {
		tb.Fatal(err)
	}
	r := d.Start(context.WithoutCancel(tb.Context()))
	tb.Cleanup(func() {
		if err := r.Stop(); err != nil {
			tb.Error(err)
		}
	})
	return r
}
