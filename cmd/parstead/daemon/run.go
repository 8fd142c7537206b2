package daemon

import (
	"context"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sync/errgroup"

	"parstead/store"
)

// Run works until ctx ends, then stops in order: the intake commits what has
// come and acknowledges it, then the broker lets go of its clients, then the
// page, the socket and the rest; the store is closed last.
func (d *Daemon) Run(ctx context.Context) error {
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	var stops []func() error
	stage := func(workers ...func(context.Context) error) {
		own, cancel := context.WithCancel(context.WithoutCancel(ctx))
		var g errgroup.Group
		for _, work := range workers {
			g.Go(func() error {
				err := work(own)
				if err != nil {
					fail(err)
				}
				return err
			})
		}
		stops = append(stops, func() error { cancel(); return g.Wait() })
	}
	d.service.beat()
	stage(d.intake.Run)
	stage(d.source.Run)
	services := []func(context.Context) error{
		func(ctx context.Context) error { return d.db.ServeOn(ctx, d.socket) },
		d.logStart,
		d.keepHouse,
		d.keepFiles,
		d.nightly.run,
		d.endOnFailure,
		func(ctx context.Context) error { return d.service.keepAwake(ctx, d.healthy) },
	}
	if d.page != nil {
		services = append(services, func(ctx context.Context) error { return d.pages.Serve(ctx, d.page) })
	}
	if d.teller != nil {
		services = append(services, d.teller.Run)
	}
	stage(services...)

	d.service.say("READY=1")
	<-ctx.Done()
	d.service.say("STOPPING=1")
	cause := context.Cause(ctx)
	d.options.Log.Info("stopping", "cause", cause.Error())
	if errors.Is(cause, context.Canceled) {
		cause = nil // as told
	}
	for _, stop := range append(stops, d.filing.end, d.db.Close) {
		if err := stop(); err != nil && !errors.Is(err, cause) {
			d.options.Log.Error("not ended in order", "error", err)
			if cause == nil {
				cause = err
			}
		}
	}
	return cause
}

// lastWords is how long a daemon that can't go on tries to tell why.
const lastWords = 10 * time.Second

// endOnFailure ends the daemon when only a restart helps the store: readings
// that were not acknowledged are then sent again. It tells so first.
func (d *Daemon) endOnFailure(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return nil
	case err := <-d.keeper.broken:
		if errors.Is(err, store.ErrDamaged) {
			d.database.damaged(err)
		}
		d.conditions.look(ctx, d.options.Clock.Now())
		if d.teller != nil {
			brief, cancel := context.WithTimeout(ctx, lastWords)
			defer cancel()
			d.teller.Flush(brief)
		}
		return err
	}
}

// housekeeping is how often keepHouse looks whether anything is due. What is due
// goes by the daemon's own clock, so that a simulated season is kept too.
const housekeeping = time.Second

// keepHouse does what is due from time to time: totals, conditions, the daily
// line, packing. It waits for no file of the grower's.
func (d *Daemon) keepHouse(ctx context.Context) error {
	tick := time.NewTicker(d.options.tick)
	defer tick.Stop()
	var packed time.Time
	var looked time.Time
	for round := 1; ; round++ {
		now := d.options.Clock.Now()
		d.service.beat()
		moved := d.database.look()
		d.addUp(ctx, now)
		// In the first round the broker may not have opened yet.
		if round > 1 && (moved || now.Sub(looked).Abs() >= time.Minute) {
			d.conditions.look(ctx, now)
			d.figures.keep(ctx)
			d.daily.say(ctx, now)
			looked = now
		}
		if now.Sub(packed).Abs() >= time.Hour {
			if err := d.db.Pack(ctx, now.Add(-packAfter)); err != nil && ctx.Err() == nil {
				d.options.Log.Error("readings not packed", "error", err)
			}
			packed = now
		}
		select {
		case <-ctx.Done():
			return nil
		case <-d.filesChanged:
			looked = time.Time{}
		case <-d.keeper.changed:
			d.conditions.look(ctx, d.options.Clock.Now())
		case <-tick.C:
		}
	}
}

// addUp brings the totals up to date. A database that is found damaged ends the
// daemon, as one that is found so at the start.
func (d *Daemon) addUp(ctx context.Context, now time.Time) {
	err := d.totals.update(ctx, now)
	switch {
	case err == nil || ctx.Err() != nil:
	case endsOn(err):
		d.keeper.fail(err)
	case d.db.InPlace() == nil: // else it is told as a condition
		d.options.Log.Error("light totals not updated", "error", err)
	}
}

// filesLooked is how often the folder is looked at, in rounds of keepHouse.
const filesLooked = 10

// packAfter leaves the newest readings loose, where late pieces still come.
const packAfter = 24 * time.Hour

// longestHouse is how long one round of housekeeping may take: packing or a
// backup of a long trial on a slow card.
const longestHouse = time.Hour

// healthy tells whether the daemon's parts move.
func (d *Daemon) healthy() error {
	d.db.LastEvent() // waits for the store's lock
	d.intake.Latest("")
	switch {
	case d.keeper.stuck():
		return fmt.Errorf("a commit has not ended within %s", stuckAfter)
	case d.service.rested() > longestHouse:
		return fmt.Errorf("housekeeping has not ended within %s", longestHouse)
	}
	return nil
}
