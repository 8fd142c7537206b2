package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"text/tabwriter"
	"time"

	"github.com/schollz/progressbar/v3"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/trial"
	"parstead/ingest/broker"
	"parstead/light"
	"parstead/light/account"
	"parstead/store"
)

// demoCmd plays a season on a simulated rack.
type demoCmd struct {
	Days   int     `default:"154" help:"Length of the season, 28 to 154 days: the same events, closer together."`
	Seed   *uint64 `placeholder:"N" help:"The season of another seed; the demo's own was chosen so that every claim holds."`
	Dir    string  `default:"demo-trial" help:"Folder that the trial is left in; it must be empty or not be there."`
	NoPage bool    `help:"Serve no page while the season is played."`
}

// Help is what demo --help says beside its options.
func (demoCmd) Help() string {
	return `Plays a whole season of invented data, a reading every five minutes, through the
real broker, daemon and database on this machine; then correlates the harvest
with the light. Takes about a minute. Leaves a trial folder and a report behind.

Example: parstead demo --days 28

Exit status: 0 done, 1 a fault.`
}

// Run plays the season and shows what came of it.
func (c *demoCmd) Run(e *env) error {
	if err := demo.Prepare(c.Dir); err != nil {
		return err
	}
	seed := demo.Seed
	if c.Seed != nil {
		seed = *c.Seed
	}
	world, err := demo.New(demo.Config{Seed: seed, Days: c.Days})
	if err != nil {
		return err
	}
	if err := world.WriteFolder(c.Dir); err != nil {
		return err
	}
	t, err := trial.Open(c.Dir)
	if err != nil {
		return fmt.Errorf("open the demo's trial: %w", err)
	}
	c.introduce(e.stdout, t)
	if err := c.play(e, world, t); err != nil {
		return fmt.Errorf("play the season: %w", err)
	}
	view, err := store.OpenFolder(e.ctx, c.Dir)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	if err := c.light(e, world, t, view); err != nil {
		return err
	}
	return c.faults(e, world, view)
}

// faults sets what was planted to go wrong beside when the readings showed it.
func (c *demoCmd) faults(e *env, world *demo.World, view light.Source) error {
	faults, alarms, err := world.Faults(e.ctx, view, time.Hour)
	if err != nil {
		return err
	}
	fmt.Fprintln(e.stdout, "\nWhat went wrong, and when the readings showed it (looking every hour):")
	table := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	for _, f := range faults {
		found := "not found"
		if !f.Found.IsZero() {
			found = fmt.Sprintf("%s, after %s", f.Condition, lasting(f.Found.Sub(f.From)))
		}
		fmt.Fprintf(table, "%s\t%s\n", f.Planted, found)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "Alarms in all: %d, some of them of one cause.\n\n", len(alarms))
	return err
}

// lasting words a delay: minutes, hours or days.
func lasting(d time.Duration) string {
	switch {
	case d < time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	case d < 48*time.Hour:
		return fmt.Sprintf("%.0f h", d.Hours())
	}
	return fmt.Sprintf("%.0f days", d.Hours()/24)
}

// light sets the season's light by the account beside the light that was given.
func (c *demoCmd) light(e *env, world *demo.World, t *trial.Trial, view light.Source) error {
	days, err := account.New(&t.Rack, view, account.Options{}).Days(e.ctx, t.Rack.Starts, t.Rack.Ends)
	if err != nil {
		return err
	}
	type sums struct{ found, given, covered, filled, off tally }
	bins := map[string]*sums{}
	for _, d := range days {
		b := bins[d.Position.Bin]
		if b == nil {
			b = &sums{}
			bins[d.Position.Bin] = b
		}
		b.covered.add(d.Covered)
		if d.Known {
			b.found.add(float64(d.DLI))
			b.given.add(float64(world.DLI(d.Position, d.Date)))
			b.filled.add(d.Filled)
			b.off.add(d.Error.Total())
		}
	}
	fmt.Fprintln(e.stdout, "Daily light integral, mol m⁻² d⁻¹, mean over positions and days:")
	table := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "bin\tby the account\tits error\tgiven\tcovered\tfilled\t")
	for _, bin := range t.Rack.Bins {
		if b := bins[bin.Name]; b != nil && b.found.n > 0 {
			fmt.Fprintf(table, "%s\t%.2f\t%s\t%.2f\t%s\t%s\t\n", bin.Name,
				b.found.mean(), percent(b.off.mean()), b.given.mean(), percent(b.covered.mean()), percent(b.filled.mean()))
		}
	}
	return table.Flush()
}

func (c *demoCmd) introduce(w io.Writer, t *trial.Trial) {
	bins, plants := len(t.Rack.Bins), 0
	for _, p := range t.Plants {
		if !p.Guard {
			plants++
		}
	}
	fmt.Fprintf(w, `Invented data: a simulated rack of %d bins with %d plants and %d sensors,
%s to %s. Lamps fail, a timer drifts, the power goes, the
clock is wrong, plants rot and a mass is mistyped, as they do.
The trial's folder: %s

`, bins, plants, len(t.Rack.Sensors), t.Rack.Starts, t.Rack.Ends, c.Dir)
}

// play runs the season against a daemon on free ports.
func (c *demoCmd) play(e *env, world *demo.World, t *trial.Trial) error {
	listen := *t
	listen.Broker.Listen, listen.Page.Listen = "127.0.0.1:0", "127.0.0.1:0"
	player := &demo.Player{World: world}
	player.Start = func(ctx context.Context, s demo.Setup) (demo.Daemon, error) {
		log := slog.New(slog.NewTextHandler(e.stderr, &slog.HandlerOptions{Level: slog.LevelError}))
		d, err := openDaemon(ctx, &listen, daemonOptions{clock: s.Clock, log: log, noPage: c.NoPage, watch: s.Watch})
		if err != nil {
			return nil, err
		}
		address := d.source.(*broker.Broker).Addr().String()
		if d.page != nil && listen.Page.Listen != d.page.Addr().String() {
			listen.Page.Listen = d.page.Addr().String() // stays after the power cut
			fmt.Fprintf(e.stdout, "The page while the season is played: http://%s/\n", listen.Page.Listen)
		}
		return start(ctx, d, address), nil
	}
	ticks := player.Ticks()
	progress, done := seasonBar(e.stderr, world, ticks)
	player.Progress = progress
	begun := time.Now()
	played, err := player.Play(e.ctx)
	done()
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "%d messages in %s, each acknowledged only when it was on disk.\n\n",
		played.Messages, time.Since(begun).Round(100*time.Millisecond))
	return err
}

// running is a daemon that a season is played to.
type running struct {
	*daemon
	address string
	end     context.CancelFunc
	done    chan error
}

func start(ctx context.Context, d *daemon, address string) *running {
	ctx, end := context.WithCancel(ctx)
	r := &running{daemon: d, address: address, end: end, done: make(chan error, 1)}
	go func() { r.done <- d.run(ctx) }()
	return r
}

// Broker is where devices connect.
func (r *running) Broker() string { return r.address }

// Note writes into the trial's log.
func (r *running) Note(ctx context.Context, e light.Event) error {
	_, err := r.db.AddEvent(ctx, e)
	return err
}

// Stop ends the daemon in order.
func (r *running) Stop() error {
	r.end()
	return <-r.done
}

// seasonBar shows how far the season is: a bar on a terminal, else a line for
// every tenth.
func seasonBar(w io.Writer, world *demo.World, ticks int) (progress func(int), done func()) {
	if f, ok := w.(*os.File); ok {
		if info, err := f.Stat(); err == nil && info.Mode()&os.ModeCharDevice != 0 {
			return terminalBar(w, world, ticks)
		}
	}
	tenth := 0
	return func(n int) {
		if now := n * 10 / ticks; now > tenth {
			tenth = now
			fmt.Fprintf(w, "season: %d of %d days\n", n*world.Days/ticks, world.Days)
		}
	}, func() {}
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
