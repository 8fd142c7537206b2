package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"text/tabwriter"
	"time"
	"unicode/utf8"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/trial"
	"parstead/correlate"
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
	if err := c.seen(e, world, t); err != nil {
		return err
	}
	if err := c.harvest(e, world, t); err != nil {
		return err
	}
	return c.next(e.stdout)
}

// seen tells what the readings show of light and faults.
func (c *demoCmd) seen(e *env, world *demo.World, t *trial.Trial) error {
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

// harvest correlates on the day after the trial and holds the results against
// what was planted.
func (c *demoCmd) harvest(e *env, world *demo.World, t *trial.Trial) error {
	after := *e
	after.now = func() time.Time { return t.Rack.Trial().Until.Add(12 * time.Hour) }
	h, err := harvested(&after, c.Dir, false)
	if err != nil {
		return err
	}
	result, err := correlate.Analyse(e.ctx, h.Input, correlate.Options{Seed: 1})
	if err != nil {
		return fmt.Errorf("correlate the demo's harvest: %w", err)
	}
	c.findings(e.stdout, t, result)
	report := filepath.Join(c.Dir, "report")
	if err := h.WriteReport(e.ctx, after.now, report, inventedRemark, result); err != nil {
		return fmt.Errorf("write the demo's report: %w", err)
	}
	fmt.Fprintf(e.stdout, "\nThe report, with pictures: %s\n", filepath.Join(report, "index.html"))
	c.claims(e.stdout, world, result)
	return nil
}

// inventedRemark stands on top of the report.
const inventedRemark = "Invented data: a simulated rack and season, made by parstead demo. Nothing here was ever measured."

// findings tells those of the primary outcome for the plants that light serves
// best.
func (c *demoCmd) findings(w io.Writer, t *trial.Trial, result *correlate.Result) {
	for _, o := range result.Outcomes {
		if !o.Primary || o.Of[t.AnalyseBy] != demo.Streptocarpus {
			continue
		}
		fmt.Fprintf(w, "The harvest correlation for %s of %s:\n", o.Name, demo.Streptocarpus)
		for _, finding := range o.Findings {
			wrapped(w, "- ", "  ", finding.Says)
		}
	}
}

// claims sets what was planted beside what was found.
func (c *demoCmd) claims(w io.Writer, world *demo.World, result *correlate.Result) {
	fmt.Fprintln(w, "\nWhat was planted, and what was found of it:")
	for _, claim := range world.Claims(result) {
		wrapped(w, "planted  ", "         ", claim.Planted)
		wrapped(w, "found    ", "         ", claim.Found)
		if !claim.Holds {
			wrapped(w, "         ", "         ", "not as it should be: this season's chance hides it")
		}
		fmt.Fprintln(w)
	}
	if world.Seed == demo.Seed && world.Days == demo.FullSeason {
		wrapped(w, "", "", "The season was chosen among many so that all of this shows at once; another --seed shows how often it does not.")
	}
}

func (c *demoCmd) next(w io.Writer) error {
	_, err := fmt.Fprintf(w, `
Try next:
  parstead dli %[1]s
  parstead note %[1]s
  parstead correlate %[1]s
  parstead run %[1]s
`, c.Dir)
	return err
}

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
	given, n := map[string]float64{}, map[string]float64{}
	for _, d := range days {
		if d.Known {
			given[d.Position.Bin] += float64(world.DLI(d.Position, d.Date))
			n[d.Position.Bin]++
		}
	}
	fmt.Fprintln(e.stdout, "Daily light integral, mol m⁻² d⁻¹, mean over positions and days:")
	table := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "bin\tby the account\tits error\tgiven\tcovered\tfilled\t")
	for _, bin := range t.Rack.Bins {
		if b, known := account.SeasonOf(bin, days); known {
			fmt.Fprintf(table, "%s\t%.2f\t%s\t%.2f\t%s\t%s\t\n", bin.Name,
				b.DLI, percent(b.Error), given[bin.Name]/n[bin.Name], percent(b.Covered), percent(b.Filled))
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
