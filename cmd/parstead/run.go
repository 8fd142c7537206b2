package main

import (
	"context"
	"errors"
	"log/slog"

	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
)

// runCmd is the daemon.
type runCmd struct {
	Folder      string `arg:"" help:"The trial's folder."`
	TestMessage bool   `help:"Send one message through [tell] and end."`
	Verbose     bool   `help:"Log what is ordinary too."`
}

// Help is what run --help says beside its options.
func (runCmd) Help() string {
	return `Takes readings in until it is told to end (an interrupt, or SIGTERM), keeps the
light account, shows it on the page and tells of trouble. Logs to stderr. Other
commands may be used meanwhile.

Parstead only watches: it switches nothing and replaces no safety device.

Example: parstead run mytrial

Exit status: 0 ended as told, 1 a fault.`
}

// Run runs the daemon.
func (c *runCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	level := slog.LevelInfo
	if c.Verbose {
		level = slog.LevelDebug
	}
	o := daemonOptions{
		clock: ingest.SystemClock(),
		log:   slog.New(slog.NewTextHandler(e.stderr, &slog.HandlerOptions{Level: level})),
	}
	if c.TestMessage {
		return testMessage(e.ctx, t, o)
	}
	d, err := openDaemon(e.ctx, t, o)
	if err != nil {
		return err
	}
	o.log.Info("watching", "trial", t.Name, "broker", brokerAddress(t), "page", "http://"+d.page.Addr().String()+"/")
	return d.run(e.ctx)
}

var errNobodyToTell = errors.New("trial.toml has no [tell]: add a command or mail to it, then try again")

// testMessage sends one message now and says whether that worked.
func testMessage(ctx context.Context, t *trial.Trial, o daemonOptions) error {
	ways, err := tellWays(t)
	if err != nil {
		return err
	}
	if ways == nil {
		return errNobodyToTell
	}
	m := tell.Message{
		Trial: t.Name, Condition: tell.Test, Since: o.clock.Now().UTC(),
		Says: "This is a test: messages from parstead reach you.", Do: "Nothing is to be done.",
	}
	for _, way := range ways {
		if err := way.Send(ctx, m); err != nil {
			return err
		}
	}
	return nil
}
