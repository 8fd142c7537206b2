// Package daemon watches a trial: it holds together the broker, the store, the
// page, what is told to the grower and what is entered by phone, and says what is
// wrong at the rack.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"path/filepath"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"golang.org/x/sync/errgroup"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
	"parstead/store"
)

// Daemon is one trial being watched: readings come in from a broker, go through
// the intake into the store, and the page, the metrics and the conditions are
// computed from what is stored.
type Daemon struct {
	options  Options
	trial    atomic.Pointer[trial.Trial] // replaced when its files change
	db       *store.DB
	keeper   *keeper
	nightly  nightly
	listener listener
	intake   *ingest.Intake
	source   source
	link     link         // with another broker
	teller   *tell.Teller // nil where the trial wants no messages
	page     net.Listener // nil without a page
	socket   net.Listener
	live     live
	alarms   alarms
	pages    *page.Server // nil without a page
	desk     *desk        // takes in what is entered at the page
	adoption adoption
	service  service
	dailyAt  time.Time // of the last daily line that was handed to the teller
}

// Options are what a daemon is told beside its trial.
type Options struct {
	Clock  ingest.Clock
	Log    *slog.Logger
	NoPage bool
	// ServiceManager has the daemon speak to the one that started it, if any.
	ServiceManager bool
	// Watch, where not nil, wraps what takes the broker's deliveries.
	Watch func(ingest.Taker) ingest.Taker
	// linger, where not zero, is passed to the intake for both kinds of reading.
	linger time.Duration
	// sink, where not nil, stands in for the store before the intake.
	sink func(ingest.Sink) ingest.Sink
	// tick, where not zero, is how often keepHouse looks whether anything is due.
	tick time.Duration
}

// source is where messages come from: the embedded broker or a session with
// another one.
type source interface {
	Run(context.Context) error
	Connected() bool
	Publish(topic string, payload []byte) error
	Close() error
}

// Open opens the database and every address, so that what can't be had is
// told before anything starts. Run or close it.
func Open(ctx context.Context, t *trial.Trial, o Options) (d *Daemon, err error) {
	d = &Daemon{options: o}
	if o.ServiceManager {
		d.service.fromEnvironment()
	}
	if d.options.tick == 0 {
		d.options.tick = housekeeping
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.close())
		}
	}()
	d.trial.Store(t)
	d.listener.feeds = func() []ingest.Feed { return d.trial.Load().Feeds }
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))

	if d.db, err = store.Open(filepath.Join(t.Dir, store.FileName), store.Options{
		Now: o.Clock.Now, Log: o.Log, Registerer: registry, OnAppend: d.live.touch, Socket: &d.listener,
	}); err != nil {
		return d, err
	}
	var sink ingest.Sink = d.db
	if o.sink != nil {
		sink = o.sink(sink)
	}
	d.keeper = newKeeper(sink, o.Clock.Now)
	d.intake, err = ingest.New(ingest.Config{
		Sink: d.keeper, Feeds: t.Feeds, Starts: t.Rack.Trial().From, Clock: o.Clock, Boot: d.db.Boot(),
		Log: o.Log, Register: registry, OnStep: d.clockStepped, Linger: o.linger, LingerWaited: o.linger,
	})
	if err != nil {
		return d, err
	}
	if d.source, err = d.openSource(t); err != nil {
		return d, err
	}
	ingest.RegisterConnected(registry, d.source.Connected)
	if d.socket, err = store.Listen(filepath.Join(t.Dir, store.SocketName)); err != nil {
		return d, err
	}
	if d.teller, err = newTeller(t, o); err != nil {
		return d, err
	}
	d.nightly.since = o.Clock.Now()
	d.alarms.init(d)
	if err = d.openDesk(ctx); err != nil {
		return d, err
	}
	if !o.NoPage {
		secure, err := serverTLS(t.Page.CertFile, t.Page.KeyFile, o.Log)
		if err != nil {
			return d, fmt.Errorf("[page] %w", err)
		}
		if d.page, err = page.Listen(t.Page.Listen, secure); err != nil {
			return d, err
		}
		registry.MustRegister(page.NewCollector(d.state))
		d.pages = page.New(page.Config{State: d.state, Ready: d.live.ready, Gatherer: registry, Desk: d.desk, Now: time.Now, Log: o.Log})
		if err := d.setCode(t); err != nil {
			return d, err
		}
	}
	if _, err = d.db.AddEvent(ctx, light.Event{Kind: light.Started, Text: "the daemon began to watch"}); err != nil {
		return d, err
	}
	return d, nil
}

// openDesk makes what takes entries in, out of the log.
func (d *Daemon) openDesk(ctx context.Context) error {
	view, err := d.db.View()
	if err != nil {
		return fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	log, err := view.Events(ctx)
	if err != nil {
		return fmt.Errorf("read the log: %w", err)
	}
	d.desk, err = newDesk(d, log)
	return err
}

// setCode takes the trial's entry code into use.
func (d *Daemon) setCode(t *trial.Trial) error {
	if d.pages == nil {
		return nil
	}
	code := ""
	if t.Page.Code != "" {
		var err error
		if code, err = t.Page.Code.Read(); err != nil {
			return fmt.Errorf("[page] code_file: %w", err)
		}
	}
	return d.pages.SetCode(code)
}

func (d *Daemon) openSource(t *trial.Trial) (source, error) {
	d.listener.Taker = d.intake
	var taker ingest.Taker = &d.listener
	if d.options.Watch != nil {
		taker = d.options.Watch(taker)
	}
	if !t.Broker.Embedded {
		session, err := ingest.NewSession(ingest.SessionConfig{
			Remote: t.Remote(), Filters: d.intake.Filters(), Taker: taker, Clock: d.options.Clock, Log: d.options.Log,
			OnState: func(s ingest.State) { d.link.note(s, d.options.Clock.Now()) },
		})
		if err != nil {
			return nil, fmt.Errorf("[broker]: %w", err)
		}
		return away{session}, nil
	}
	secure, err := serverTLS(t.Broker.CertFile, t.Broker.KeyFile, d.options.Log)
	if err != nil {
		return nil, fmt.Errorf("[broker] %w", err)
	}
	config := broker.Config{Listen: t.Broker.Listen, Secure: secure, Taker: taker, Log: d.options.Log}
	if config.Sensors, config.Readers, err = t.Broker.Logins(); err != nil {
		return nil, err
	}
	return broker.Open(config)
}

// away is a session as a source: it holds nothing before it runs.
type away struct{ *ingest.Session }

func (away) Close() error { return nil }

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
		d.keepHouse,
		d.keepBackups,
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
	for _, stop := range append(stops, d.desk.end, d.db.Close) {
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
		d.alarms.look(ctx, d, d.options.Clock.Now())
		if d.teller != nil {
			brief, cancel := context.WithTimeout(ctx, lastWords)
			defer cancel()
			d.teller.Flush(brief)
		}
		return err
	}
}

// PageURL is where a browser finds the page; "" without one.
func (d *Daemon) PageURL() string {
	if d.page == nil {
		return ""
	}
	scheme := "http://"
	if d.trial.Load().Page.CertFile != "" {
		scheme = "https://"
	}
	return scheme + d.page.Addr().String() + "/"
}

// PageAddress is the page's host and port; "" without one.
func (d *Daemon) PageAddress() string {
	if d.page == nil {
		return ""
	}
	return d.page.Addr().String()
}

// close frees what Open has opened of a daemon that was never run.
func (d *Daemon) close() error {
	var errs []error
	if d.page != nil {
		errs = append(errs, d.page.Close())
	}
	if d.socket != nil {
		errs = append(errs, d.socket.Close())
	}
	if d.source != nil {
		errs = append(errs, d.source.Close())
	}
	if d.db != nil {
		errs = append(errs, d.db.Close())
	}
	return errors.Join(errs...)
}

// clockStepped writes a jump of the system clock into the log; the store then
// gives readings that came before it at their true time.
func (d *Daemon) clockStepped(s ingest.Step) {
	_, err := d.db.AddEvent(context.Background(), light.Event{
		Kind: light.ClockStepped, At: s.At, Data: store.ClockStep(s.Boot, s.Uptime, s.By),
		Text: fmt.Sprintf("the system clock was set by %s; what arrived before is dated anew", s.By),
	})
	if err != nil {
		d.options.Log.Error("clock step not logged", "by", s.By, "error", err)
	}
	d.alarms.clockStepped(s)
}

// housekeeping is how often keepHouse looks whether anything is due. What is due
// goes by the daemon's own clock, so that a simulated season is kept too.
const housekeeping = time.Second

// keepHouse does what is due from time to time: totals, conditions, the daily
// line, changed files, packing.
func (d *Daemon) keepHouse(ctx context.Context) error {
	tick := time.NewTicker(d.options.tick)
	defer tick.Stop()
	var packed time.Time
	var looked time.Time
	for round := 1; ; round++ {
		now := d.options.Clock.Now()
		d.service.beat()
		d.desk.keep(ctx, filesLooked*d.options.tick)
		if d.adoptChanges() {
			d.desk.look()
			looked = time.Time{}
		}
		if err := d.live.update(ctx, d, now); errors.Is(err, store.ErrDamaged) {
			return err // once, as at the start
		} else if err != nil {
			d.options.Log.Error("light totals not updated", "error", err)
		}
		// In the first round the broker may not have opened yet.
		if round > 1 && now.Sub(looked).Abs() >= time.Minute {
			d.alarms.look(ctx, d, now)
			d.sayDaily(ctx, now)
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
		case <-d.keeper.changed:
			d.alarms.look(ctx, d, d.options.Clock.Now())
		case <-tick.C:
		}
	}
}

// packAfter leaves the newest readings loose, where late pieces still come.
const packAfter = 24 * time.Hour
