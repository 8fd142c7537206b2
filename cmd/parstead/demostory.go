package main

import (
	"fmt"
	"io"
	"path/filepath"
	"text/tabwriter"
	"time"

	"parstead/cmd/parstead/demo"
	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/light"
	"parstead/light/account"
	"parstead/store"
)

// introduce says what is played, and where all of it lies.
func (c *demoCmd) introduce(w io.Writer, t *trial.Trial) {
	plants := 0
	for _, p := range t.Plants {
		if !p.Guard {
			plants++
		}
	}
	days := t.Rack.Starts.DaysUntil(t.Rack.Ends) + 1
	fmt.Fprintf(w, "Invented data: nothing here was ever measured. All of it lies in %s\n", c.Dir)
	fmt.Fprintf(w, "%d bins, %d plants, %d sensors; %d days, %s to %s.\n", len(t.Rack.Bins), plants, len(t.Rack.Sensors), days, t.Rack.Starts, t.Rack.Ends)
}

// short is the share of its target under which a bin's day is short.
const short = 0.9

// season sets the light that each bin was meant to get beside what the readings say
// and what the simulation gave, and what went wrong beside when it was told.
func (c *demoCmd) season(e *env, world *demo.World, t *trial.Trial) error {
	view, err := store.OpenFolder(e.ctx, c.Dir)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	days, err := account.New(&t.Rack, view, account.Options{}).Days(e.ctx, t.Rack.Starts, t.Rack.Ends)
	if err != nil {
		return err
	}
	faults, _, err := world.Faults(e.ctx, view, time.Hour)
	if err != nil {
		return err
	}
	table := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "   bin\tmeant\tgot\tgiven\tshort on\twhat went wrong, told after")
	for _, bin := range t.Rack.Bins {
		b := binDays(bin, days, world)
		row := fmt.Sprintf("   %s\t%.2f\t%.2f\t%.2f\t%s", bin.Name, float64(bin.TargetDLI), b.got, b.given, b.shortOn())
		for _, f := range told(faults, bin.Name) {
			fmt.Fprintf(table, "%s\t%s\n", row, f)
			row = "\t\t\t\t"
		}
	}
	for i, f := range told(faults, "") {
		fmt.Fprintf(table, "   %s\t\t\t\t\t%s\n", []string{"all bins", ""}[min(i, 1)], f)
	}
	if err := table.Flush(); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stdout, "   Mol m⁻² d⁻¹; got by the readings, given by the simulation; short: %.0f %% under.\n", 100*(1-short))
	return err
}

// binSeason is a bin's days: means over positions and days, and how many were short.
type binSeason struct {
	got, given  float64
	short, days int
}

func binDays(bin light.Bin, days []account.Day, world *demo.World) (b binSeason) {
	sum, n := map[light.Date]float64{}, map[light.Date]float64{}
	all := 0.0
	for _, d := range days {
		if d.Position.Bin != bin.Name || !d.Known {
			continue
		}
		sum[d.Date] += float64(d.DLI)
		n[d.Date]++
		b.got, b.given, all = b.got+float64(d.DLI), b.given+float64(world.DLI(d.Position, d.Date)), all+1
	}
	b.got, b.given, b.days = b.got/all, b.given/all, len(n)
	for date := range n {
		if sum[date]/n[date] < short*float64(bin.TargetDLI) {
			b.short++
		}
	}
	return b
}

func (b binSeason) shortOn() string {
	switch b.short {
	case 0:
		return "–"
	case 1:
		return "1 day"
	case b.days:
		return "all days"
	}
	return fmt.Sprintf("%d days", b.short)
}

// told lists a bin's faults with how soon the readings showed each; "" where it had none.
func told(faults []demo.Fault, bin string) []string {
	var list []string
	for _, f := range faults {
		switch {
		case f.Bin != bin:
		case f.Found.IsZero():
			list = append(list, f.Planted+", not told")
		default:
			list = append(list, f.Planted+", "+lasting(f.Found.Sub(f.From)))
		}
	}
	if len(list) == 0 {
		return []string{""}
	}
	return list
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

// truth sets what was planted beside what was found.
func (c *demoCmd) truth(w io.Writer, world *demo.World, result *correlate.Result) error {
	fmt.Fprintln(w, "\n3. Was it right? What was planted, and what was found of it")
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, claim := range world.Claims(result) {
		fmt.Fprintf(table, "   %s\t%s\t%s\n", claim.Planted, claim.Found, claim.Word())
	}
	if err := table.Flush(); err != nil {
		return err
	}
	if world.Seed == demo.Seed && world.Days == demo.FullSeason {
		fmt.Fprintln(w, "   The season was chosen so that all of this shows at once; --seed plays others.")
	}
	return nil
}

// next says where to look.
func (c *demoCmd) next(w io.Writer) error {
	_, err := fmt.Fprintf(w, "Look:  %s\nTry:   parstead correlate %[2]s; parstead run %[2]s\n", filepath.Join(c.report(), "index.html"), c.Dir)
	return err
}
