package main

import (
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"time"
	"unicode/utf8"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/tables"
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

// Run plays the season and shows what came of it. One that is interrupted leaves
// nothing behind that would be in the way of the next.
func (c *demoCmd) Run(e *env) error {
	if err := demo.Prepare(c.Dir); err != nil {
		return err
	}
	err := c.run(e)
	if err == nil || e.ctx.Err() == nil {
		return errors.Join(err, demo.Finish(c.Dir))
	}
	if err := demo.Remove(c.Dir); err != nil {
		return err
	}
	return fmt.Errorf("the demo was stopped; what it had written into %s is removed", c.Dir)
}

func (c *demoCmd) run(e *env) error {
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
	t, err := trial.OpenToRun(c.Dir)
	if err != nil {
		return fmt.Errorf("open the demo's trial: %w", err)
	}
	plan, err := harvest.Plan(t, world.Dealt).Event(t.Rack.Trial().From.Add(-12 * time.Hour))
	if err != nil {
		return err
	}
	if _, err := store.AddEvent(e.ctx, c.Dir, store.Options{Now: e.now}, plan); err != nil {
		return err
	}
	c.introduce(e.stdout, t)
	if err := c.play(e, world, t); err != nil {
		return fmt.Errorf("play the season: %w", err)
	}
	if err := c.season(e, world, t); err != nil {
		return err
	}
	if err := c.harvest(e, world, t); err != nil {
		return err
	}
	return c.next(e.stdout)
}

// harvest correlates on the day after the trial and holds the results against
// what was planted.
func (c *demoCmd) harvest(e *env, world *demo.World, t *trial.Trial) error {
	after := *e
	after.now = func() time.Time { return t.Rack.Trial().Until.Add(12 * time.Hour) }
	h, err := harvest.Read(e.ctx, c.Dir, after.now(), false)
	if err != nil {
		return err
	}
	result, err := correlate.Analyse(e.ctx, h.Input, correlate.Options{Seed: 1})
	if err != nil {
		return fmt.Errorf("correlate the demo's harvest: %w", err)
	}
	fmt.Fprintln(e.stdout, "\n2. The harvest, correlated")
	lines := tables.NewLines(e.stdout)
	lines.Sentences(result.Answer)
	if err := lines.Flush(); err != nil {
		return err
	}
	if err := h.WriteReport(e.ctx, after.now, c.report(), inventedRemark, result); err != nil {
		return fmt.Errorf("write the demo's report: %w", err)
	}
	return c.truth(e.stdout, world, result)
}

func (c *demoCmd) report() string { return filepath.Join(c.Dir, "report") }

// inventedRemark stands on top of the report.
const inventedRemark = "Invented data: a simulated rack and season, made by parstead demo. Nothing here was ever measured."

// wrapped writes a text in lines of at most 80 columns.
func wrapped(w io.Writer, first, margin, text string) {
	line := first
	for word := range strings.FieldsSeq(text) {
		switch {
		case line == first || line == margin:
			line += word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > 80:
			fmt.Fprintln(w, line)
			line = margin + word
		default:
			line += " " + word
		}
	}
	fmt.Fprintln(w, line)
}
