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
	"reflect"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/tell"
	"parstead/cmd/parstead/trial"
	"parstead/cmd/parstead/version"
	"parstead/ingest"
	"parstead/light"
	"parstead/light/watch"
	"parstead/store"
)

// Daemon is one trial being watched: readings come in from a broker, go through
// the intake into the store, and the page, the metrics and the conditions are
// computed from what is stored. It opens, runs and closes its parts; each part
// does one job with what it is given.
type Daemon struct {
	options    Options
	trial      atomic.Pointer[trial.Trial] // replaced when its files change
	db         *store.DB
	keeper     *keeper
	database   database
	logged     bool // that it runs
	listener   listener
	intake     *ingest.Intake
	source     source
	link       link         // with another broker
	neighbours Neighbours   // at another broker
	teller     *tell.Teller // nil where the trial wants no messages
	page       net.Listener // nil without a page
	socket     net.Listener
	pages      *page.Server // nil without a page
	clockSteps clockSteps
	future     future
	totals     totals
	conditions conditions
	figures    figures
	status     status
	filing     filing
	photos     photos
	adoption   adoption
	// filesChanged is nudged when changed files were taken, or can't be.
	filesChanged chan struct{}
	nightly      nightly
	daily        daily
	service      service
}

// Options are what a daemon is told beside its trial.
type Options struct {
	Clock  ingest.Clock
	Log    *slog.Logger
	NoPage bool
	// ServiceManager has the daemon speak to the one that started it, if any.
	ServiceManager bool
	// Analyse gives the harvest's answer in sentences; nil: the page has none.
	Analyse func(ctx context.Context, folder string) ([]string, error)
	// Watch, where not nil, wraps what takes the broker's deliveries.
	Watch func(ingest.Taker) ingest.Taker
	// linger, where not zero, is passed to the intake for both kinds of reading.
	linger time.Duration
	// sink, where not nil, stands in for the store before the intake.
	sink func(ingest.Sink) ingest.Sink
	// drafted, where not nil, is called before a sheet is written.
	drafted func()
	// reading, where not nil, is called before the trial's files are read anew.
	reading func()
	// tick, where not zero, is how often keepHouse looks whether anything is due.
	tick time.Duration
}

// Open opens the database and every address, so that what can't be had is told
// before anything starts. Run or close it.
func Open(ctx context.Context, t *trial.Trial, o Options) (d *Daemon, err error) {
	d = &Daemon{options: o, filesChanged: make(chan struct{}, 1)}
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
	registry := prometheus.NewRegistry()
	registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	if err = d.openIngest(t, registry); err != nil {
		return d, err
	}
	if d.socket, err = store.Listen(filepath.Join(t.Dir, store.SocketName)); err != nil {
		return d, err
	}
	d.teller = newTeller(t, o)
	if err = d.connect(ctx, t); err != nil {
		return d, err
	}
	if !o.NoPage {
		if err = d.openPage(t, registry); err != nil {
			return d, err
		}
	}
	if d.db.Checked() {
		err = d.logStart(ctx)
	} // else Run does, which waits for the check of a large database
	return d, err
}

// logStart writes into the log that the daemon runs.
func (d *Daemon) logStart(ctx context.Context) error {
	if d.logged {
		return nil
	}
	d.logged = true
	_, err := d.db.AddEvent(ctx, light.Event{Kind: light.Started, Text: "the daemon began to watch"})
	return err
}

// openIngest opens the way of readings from the broker into the store.
func (d *Daemon) openIngest(t *trial.Trial, registry *prometheus.Registry) (err error) {
	o := d.options
	d.listener.feeds = func() []ingest.Feed { return d.trial.Load().Feeds }
	if d.db, err = store.Open(filepath.Join(t.Dir, store.FileName), store.Options{
		Now: o.Clock.Now, Log: o.Log, Registerer: registry, OnAppend: d.totals.touch, Socket: &d.listener,
	}); err != nil {
		return err
	}
	var sink ingest.Sink = d.db
	if o.sink != nil {
		sink = o.sink(sink)
	}
	d.keeper = newKeeper(sink, o.Clock.Now)
	if d.intake, err = ingest.New(ingest.Config{
		Sink: d.keeper, Feeds: t.Feeds, Starts: t.Rack.Trial().From, Clock: o.Clock, Boot: d.db.Boot(), Stored: d.db.Latest,
		Log: o.Log, Register: registry, OnStep: d.clockStepped, OnTimed: d.timed, Linger: o.linger, LingerWaited: o.linger,
	}); err != nil {
		return err
	}
	d.listener.Taker = d.intake
	var taker ingest.Taker = &d.listener
	if o.Watch != nil {
		taker = o.Watch(taker)
	}
	if !t.Broker.Embedded {
		d.link.unheard = newestOf(d.db.Latest())
		d.neighbours.own = presentAt(t)
	}
	noted := func(s ingest.State) {
		d.link.note(s, o.Clock.Now())
		if s.Connected {
			d.neighbours.forget()
		}
	}
	if d.source, err = openSource(t, taker, d.intake.Filters(), o.Clock, listening{noted, d.neighbours.Presence(o.Clock.Now), func(id string) { d.link.twins(id, o.Clock.Now()) }}, o.Log); err != nil {
		return err
	}
	d.neighbours.say(d.source.Publish, t, o.Log)
	ingest.RegisterConnected(registry, d.source.Connected)
	return nil
}

// connect gives each part what it needs of the others, and what the log and the
// messages that were sent hold from before.
func (d *Daemon) connect(ctx context.Context, t *trial.Trial) error {
	now, log, inForce := d.options.Clock.Now, d.options.Log, d.trial.Load
	d.future.trial, d.future.latest = inForce, d.db.Latest
	d.database.inPlace, d.database.now = d.db.InPlace, now
	d.database.folder = func() string { return inForce().Dir }
	why := func() map[string]string { return timeless(d.intake) }
	d.totals.trialInForce, d.totals.db = inForce, d.db
	d.nightly.trial, d.nightly.now, d.nightly.log, d.nightly.since = inForce, now, log, now()
	d.adoption.trial, d.adoption.use, d.adoption.now, d.adoption.log = inForce, d.use, now, log
	d.adoption.reading = d.options.reading

	d.conditions.trial, d.conditions.db, d.conditions.timeless = inForce, d.db, why
	d.conditions.finished = d.totals.finished
	d.conditions.tell, d.conditions.publish, d.conditions.log = d.tell, d.source.Publish, log
	d.conditions.own = []func(time.Time) (watch.Condition, bool){
		d.database.condition, d.diskCondition,
		d.linkCondition,
		d.adoption.condition, d.clockCondition, d.filing.condition, d.nightly.condition,
	}
	var told []watch.Condition
	if d.teller != nil {
		for _, m := range d.teller.Told() {
			told = append(told, m.Condition)
		}
	}
	d.conditions.begin(&t.Rack, told, now())

	d.filing.trial, d.filing.addEvent, d.filing.adopt, d.filing.now, d.filing.logger = inForce, d.addEntry, d.adoption.own, now, log
	d.filing.drafted = d.options.drafted
	d.photos.trial, d.photos.addEvent, d.photos.now = inForce, d.addEntry, now
	d.status.trial, d.status.now, d.status.db, d.status.intake = inForce, now, d.db, d.intake
	d.status.checked = d.db.Checked
	d.status.totals, d.status.conditions, d.status.filing, d.status.teller = &d.totals, &d.conditions, &d.filing, d.teller
	d.status.connected, d.status.broker = d.source.Connected, d.source.Address
	d.status.results = &results{trial: inForce, entry: d.db.LastEvent, analyse: d.options.Analyse}
	d.figures.state, d.figures.publish, d.figures.log = d.status.get, d.source.Publish, log
	d.figures.rest = 10 * time.Second
	d.daily.status, d.daily.tell, d.daily.log = &d.status, d.tell, log

	view, err := d.db.View()
	if err != nil {
		return fmt.Errorf("open a view: %w", err)
	}
	defer view.Close() //nolint:errcheck // it only read
	events, err := view.Events(ctx)
	if err != nil {
		return fmt.Errorf("read the log: %w", err)
	}
	return d.filing.begin(events)
}

func (d *Daemon) openPage(t *trial.Trial, registry *prometheus.Registry) error {
	secure, err := serverTLS(t.Page.CertFile, t.Page.KeyFile, d.options.Log)
	if err != nil {
		return fmt.Errorf("[page] %w", err)
	}
	if d.page, err = page.Listen(t.Page.Listen, secure); err != nil {
		return err
	}
	registry.MustRegister(page.NewCollector(d.status.atOnce), version.Metric())
	d.pages = page.New(page.Config{
		State: d.status.get, Plant: d.status.history, Result: d.status.result, Ready: d.ready, Gatherer: registry, Entries: &d.filing, Photos: &d.photos, Now: time.Now, Log: d.options.Log,
	})
	return d.setCode(t)
}

func (d *Daemon) tell(m tell.Message) {
	if d.teller != nil {
		d.teller.Tell(m)
	}
}

// addEntry writes into the log what was entered at the page. What is about
// plants leaves the light as it was.
func (d *Daemon) addEntry(ctx context.Context, e light.Event) (uint64, error) {
	id, err := d.db.AddEvent(ctx, e)
	if err == nil && (e.Kind == light.Entered || e.Kind == light.Filed || e.Kind == light.Photographed) {
		d.totals.passed(id)
	}
	return id, err
}

// diskCondition tells that readings can't be kept, or soon can't.
func (d *Daemon) diskCondition(now time.Time) (watch.Condition, bool) {
	folder := d.trial.Load().Dir
	if c, ok := d.keeper.condition(folder); ok {
		return c, true
	}
	return diskIs(folder, now)
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

// use puts the trial in force whose files have changed.
func (d *Daemon) use(old, fresh *trial.Trial) error {
	if err := d.setCode(fresh); err != nil {
		return err
	}
	if err := d.intake.SetFeeds(fresh.Feeds); err != nil {
		return err
	}
	if err := d.source.SetFilters(d.intake.Filters()); err != nil {
		d.options.Log.Warn("topics not subscribed to now", "error", err)
	}
	d.trial.Store(fresh)
	d.neighbours.say(d.source.Publish, fresh, d.options.Log)
	if reflect.DeepEqual(old.Rack, fresh.Rack) { // a sheet of plants: light and baselines are as they were
		d.totals.carry(old, fresh)
	} else {
		d.conditions.renew(&fresh.Rack)
	}
	was, is := old.Page, fresh.Page
	was.Code, is.Code = "", "" // in use already
	if old.Broker != fresh.Broker || was != is {
		d.options.Log.Warn("a changed [broker] or [page] takes effect at the next start")
	}
	return nil
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

// BrokerAddress is where readings are published.
func (d *Daemon) BrokerAddress() string { return d.source.Address() }

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
	d.clockSteps.note(s)
}

// timed writes into the log that readings were set aside as a broker's backlog and
// were none; they count from then on.
func (d *Daemon) timed(x ingest.Timed) {
	_, err := d.db.AddEvent(context.Background(), light.Event{
		Kind: light.Timed, At: x.During.From, Sensor: x.Sensor, During: x.During,
		Text: fmt.Sprintf("they came every %s, which is the sensor's own pace and no queue's: their time of arrival counts; give `every` of the sensor so", x.Pace.Round(100*time.Millisecond)),
	})
	if err != nil {
		d.options.Log.Error("not logged that readings are timed", "sensor", x.Sensor, "error", err)
	}
}
