package daemon

import (
	"context"

	"parstead/light"
)

// Running is a daemon at work.
type Running struct {
	*Daemon
	end  context.CancelFunc
	done chan error
}

// Start sets a daemon to work until it is stopped or ctx ends.
func (d *Daemon) Start(ctx context.Context) *Running {
	ctx, end := context.WithCancel(ctx)
	r := &Running{Daemon: d, end: end, done: make(chan error, 1)}
	go func() { r.done <- d.Run(ctx) }()
	return r
}

// Stop ends the daemon in order.
func (r *Running) Stop() error {
	r.end()
	return <-r.done
}

// Note writes into the trial's log.
func (d *Daemon) Note(ctx context.Context, e light.Event) error {
	_, err := d.db.AddEvent(ctx, e)
	return err
}
