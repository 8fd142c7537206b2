package main

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

// daemon is one trial being watched: readings come in from a broker, go through
// the intake into the store, and the page, the metrics and the conditions are
// computed from what is stored.
type daemon struct {
	daemonOptions
	trial    atomic.Pointer[trial.Trial] // replaced when its files change
	db       *store.DB
	keeper   *keeper
	nightly  nightly
	ear      ear
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

// daemonOptions are what a daemon is told beside its trial.
type daemonOptions struct {
	clock  ingest.Clock
	log    *slog.Logger
	noPage bool
	// watch, where not nil, wraps what takes the broker's deliveries.
	watch func(ingest.Taker) ingest.Taker
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

// openDaemon opens the database and every address, so that what can't be had is
// told before anything starts. Run or close it.
func openDaemon(ctx context.Context, t *trial.Trial, o daemonOptions) (d *daemon, err error) {
	d = &daemon{daemonOptions: o}
	if d.tick == 0 {
		d.tick = housekeeping
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, d.close())
		}
	}()
	d.trial.Store(t)
	d.ear.feeds = func() []ingest.Feed { return d.trial.Load().Feeds }
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))

	if d.db, err = store.Open(filepath.Join(t.Dir, store.FileName), store.Options{
		Now: o.clock.Now, Log: o.log, Registerer: registry, OnAppend: d.live.touch, Socket: &d.ear,
	}); err != nil {
		return d, err
	}
	var sink ingest.Sink = d.db
	if o.sink != nil {
		sink = o.sink(sink)
	}
	d.keeper = newKeeper(sink, o.clock.Now)
	d.intake, err = ingest.New(ingest.Config{
		Sink: d.keeper, Feeds: t.Feeds, Starts: t.Rack.Trial().From, Clock: o.clock, Boot: d.db.Boot(),
		Log: o.log, Register: registry, OnStep: d.clockStepped, Linger: o.linger, LingerWaited: o.linger,
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
	d.nightly.since = o.clock.Now()
	d.alarms.init(d)
	if err = d.openDesk(ctx); err != nil {
		return d, err
	}
	if !o.noPage {
		secure, err := serverTLS(t.Page.CertFile, t.Page.KeyFile, o.log)
		if err != nil {
			return d, fmt.Errorf("[page] %w", err)
		}
		if d.page, err = page.Listen(t.Page.Listen, secure); err != nil {
			return d, err
		}
		registry.MustRegister(page.NewCollector(d.state))
		d.pages = page.New(page.Config{State: d.state, Ready: d.live.ready, Gatherer: registry, Desk: d.desk, Now: time.Now, Log: o.log})
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
func (d *daemon) openDesk(ctx context.Context) error {
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
func (d *daemon) setCode(t *trial.Trial) error {
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

func (d *daemon) openSource(t *trial.Trial) (source, error) {
	d.ear.Taker = d.intake
	var taker ingest.Taker = &d.ear
	if d.watch != nil {
		taker = d.watch(taker)
	}
	if !t.Broker.Embedded {
		session, err := ingest.NewSession(ingest.SessionConfig{
			Remote: remote(t), Filters: d.intake.Filters(), Taker: taker, Clock: d.clock, Log: d.log,
			OnState: func(s ingest.State) { d.link.note(s, d.clock.Now()) },
		})
		if err != nil {
			return nil, fmt.Errorf("[broker]: %w", err)
		}
		return away{session}, nil
	}
	secure, err := serverTLS(t.Broker.CertFile, t.Broker.KeyFile, d.log)
	if err != nil {
		return nil, fmt.Errorf("[broker] %w", err)
	}
	config := broker.Config{Listen: t.Broker.Listen, Secure: secure, Taker: taker, Log: d.log}
	if config.Sensors, err = login(t.Broker.Username, t.Broker.Password); err != nil {
		return nil, err
	}
	if config.Readers, err = login(t.Broker.Reader, t.Broker.ReaderPassword); err != nil {
		return nil, err
	}
	return broker.Open(config)
}

// login is a name of the embedded broker with its password; nil without a name.
func login(name string, secret trial.Secret) (*broker.Login, error) {
	if name == "" {
		return nil, nil
	}
	password, err := secret.Read()
	if err != nil {
		return nil, fmt.Errorf("[broker] password of %s: %w", name, err)
	}
	return &broker.Login{Username: name, Password: password}, nil
}

// away is a session as a source: it holds nothing before it runs.
type away struct{ *ingest.Session }

func (away) Close() error { return nil }

// remote is the trial's other broker as a session needs it.
func remote(t *trial.Trial) ingest.Remote {
	b := t.Broker
	id := b.ClientID
	if id == "" {
		id = "parstead-" + t.Name
	}
	return ingest.Remote{
		URL: b.URL, ClientID: id, Username: b.Username, PasswordFile: string(b.Password),
		CAFile: b.CAFile, CertFile: b.CertFile, KeyFile: b.KeyFile,
	}
}

// run works until ctx ends, then stops in order: the intake commits what has
// come and acknowledges it, then the broker lets go of its clients, then the
// page, the socket and the rest; the store is closed last.
func (d *daemon) run(ctx context.Context) error {
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
	d.log.Info("stopping", "cause", cause.Error())
	if errors.Is(cause, context.Canceled) {
		cause = nil // as told
	}
	for _, stop := range append(stops, d.desk.end, d.db.Close) {
		if err := stop(); err != nil && !errors.Is(err, cause) {
			d.log.Error("not ended in order", "error", err)
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
func (d *daemon) endOnFailure(ctx context.Context) error {
	select {
	case <-ctx.Done():
		return nil
	case err := <-d.keeper.broken:
		d.alarms.look(ctx, d, d.clock.Now())
		if d.teller != nil {
			brief, cancel := context.WithTimeout(ctx, lastWords)
			defer cancel()
			d.teller.Flush(brief)
		}
		return err
	}
}

// pageURL is where a browser finds the page; "" without one.
func (d *daemon) pageURL() string {
	if d.page == nil {
		return ""
	}
	scheme := "http://"
	if d.trial.Load().Page.CertFile != "" {
		scheme = "https://"
	}
	return scheme + d.page.Addr().String() + "/"
}

// close frees what openDaemon has opened of a daemon that was never run.
func (d *daemon) close() error {
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
func (d *daemon) clockStepped(s ingest.Step) {
	_, err := d.db.AddEvent(context.Background(), light.Event{
		Kind: light.ClockStepped, At: s.At, Data: store.ClockStep(s.Boot, s.Uptime, s.By),
		Text: fmt.Sprintf("the system clock was set by %s; what arrived before is dated anew", s.By),
	})
	if err != nil {
		d.log.Error("clock step not logged", "by", s.By, "error", err)
	}
	d.alarms.clockStepped(s)
}

// housekeeping is how often keepHouse looks whether anything is due. What is due
// goes by the daemon's own clock, so that a simulated season is kept too.
const housekeeping = time.Second

// keepHouse does what is due from time to time: totals, conditions, the daily
// line, changed files, packing.
func (d *daemon) keepHouse(ctx context.Context) error {
	tick := time.NewTicker(d.tick)
	defer tick.Stop()
	var packed time.Time
	var looked time.Time
	for round := 1; ; round++ {
		now := d.clock.Now()
		d.service.beat()
		d.desk.keep(ctx, filesLooked*d.tick)
		if d.adoptChanges() {
			d.desk.look()
			looked = time.Time{}
		}
		if err := d.live.update(ctx, d, now); errors.Is(err, store.ErrDamaged) {
			return err // once, as at the start
		} else if err != nil {
			d.log.Error("light totals not updated", "error", err)
		}
		// In the first round the broker may not have opened yet.
		if round > 1 && now.Sub(looked).Abs() >= time.Minute {
			d.alarms.look(ctx, d, now)
			d.sayDaily(ctx, now)
			looked = now
		}
		if now.Sub(packed).Abs() >= time.Hour {
			if err := d.db.Pack(ctx, now.Add(-packAfter)); err != nil && ctx.Err() == nil {
				d.log.Error("readings not packed", "error", err)
			}
			packed = now
		}
		select {
		case <-ctx.Done():
			return nil
		case <-d.keeper.changed:
			d.alarms.look(ctx, d, d.clock.Now())
		case <-tick.C:
		}
	}
}

// toldFile is where the trial's folder keeps what the grower was told.
const toldFile = "told.json"

// packAfter leaves the newest readings loose, where late pieces still come.
const packAfter = 24 * time.Hour

func newTeller(t *trial.Trial, o daemonOptions) (*tell.Teller, error) {
	ways, err := tellWays(t)
	if ways == nil || err != nil {
		return nil, err
	}
	return tell.New(tell.Config{Ways: ways, Now: o.clock.Now, Log: o.log, File: filepath.Join(t.Dir, toldFile)}), nil
}

// tellWays are the trial's means of telling the grower; nil where it has none.
func tellWays(t *trial.Trial) ([]tell.Way, error) {
	if t.Tell == nil {
		return nil, nil
	}
	m := t.Tell.Mail
	if m == nil {
		return []tell.Way{tell.Command(t.Tell.Command)}, nil
	}
	password := ""
	if m.Password != "" {
		var err error
		if password, err = m.Password.Read(); err != nil {
			return nil, fmt.Errorf("[tell] mail password_file: %w", err)
		}
	}
	return []tell.Way{tell.Mail{
		To: m.To, From: m.From, Host: m.Host, Port: m.Port, Username: m.Username, Password: password,
		Zone: t.Rack.Zone, Plain: broker.Loopback(net.JoinHostPort(m.Host, "25")),
	}}, nil
}
