package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"parstead/cmd/parstead/export"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/account"
	"parstead/store"
)

// dliCmd tells the light of positions and days.
type dliCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	From   string `placeholder:"DATE" help:"First light day; the trial's first unless given."`
	To     string `placeholder:"DATE" help:"Last light day; the trial's last unless given."`
	Per    string `enum:"bin,position," default:"" placeholder:"bin|position" help:"A line a day for each bin or position; otherwise a summary of the days."`
	JSON   bool   `name:"json" xor:"as" help:"Print an array, an object a day and position (or bin)."`
	CSV    bool   `name:"csv" xor:"as" help:"Print a table with commas, a row a day and position (or bin), as export writes it."`
}

// Help is what dli --help says beside its options.
func (dliCmd) Help() string {
	return `The daily light integral (DLI) in mol m⁻² d⁻¹ of every grid position whose light
is known, with how each figure came to be: "sensor" (one stands there), "map"
(light map × the bin's sensors), "bin" (the bin's sensors as they stand),
"timer" (the lamp's hours). Covered: the share of the day that readings bridge.
Filled: the share of the DLI that was estimated. Error: one standard deviation.

Examples:
  parstead dli mytrial
  parstead dli mytrial --per bin --from 2026-08-01 --to 2026-08-31
  parstead dli mytrial --csv

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run prints the light.
func (c *dliCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	from, to, err := lightDays(t, c.From, c.To)
	if err != nil {
		return err
	}
	view, err := store.OpenFolder(e.ctx, c.Folder)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	lightAccount := account.New(&t.Rack, view, account.Options{Now: e.now})
	season, err := lightAccount.Season(e.ctx, from, to)
	if err != nil {
		return err
	}
	tellRemarks(e.stderr, season.Remarks)
	days := season.Days
	out := bufio.NewWriterSize(e.stdout, 1<<16)
	switch {
	case c.CSV && c.Per == "bin":
		err = export.BinDLI(out, account.PerBin(days))
	case c.CSV:
		err = export.DLI(out, days)
	case c.JSON && c.Per == "bin":
		printArray(out, account.PerBin(days))
	case c.JSON:
		printArray(out, days)
	case c.Per == "bin":
		printBinDays(out, account.PerBin(days))
	case c.Per == "position":
		printDays(out, days)
	default:
		printLight(out, t, season)
	}
	return errors.Join(err, out.Flush())
}

// lightDays reads the first and last day that are asked for; the trial's where
// none is.
func lightDays(t *trial.Trial, first, last string) (from, to light.Date, err error) {
	from, to = t.Rack.Starts, t.Rack.Ends
	if first != "" {
		if from, err = light.ParseDate(first); err != nil {
			return from, to, usageError{"--from: " + err.Error()}
		}
	}
	if last != "" {
		if to, err = light.ParseDate(last); err != nil {
			return from, to, usageError{"--to: " + err.Error()}
		}
	}
	if to.Before(from) {
		return from, to, usageError{fmt.Sprintf("--to %s lies before --from %s", to, from)}
	}
	return from, to, nil
}

// tellRemarks tells what of surveys and sensors is not used, apart from the
// results.
func tellRemarks(w io.Writer, remarks []string) {
	for _, remark := range remarks {
		fmt.Fprintln(w, "parstead:", remark)
	}
}

// printArray writes a JSON array, an object a line. The writer keeps its first
// error for Flush.
func printArray[T interface{ AppendJSON([]byte) []byte }](w *bufio.Writer, list []T) {
	before := "[\n"
	var line []byte
	for _, x := range list {
		_, _ = w.WriteString(before)
		line = x.AppendJSON(line[:0])
		_, _ = w.Write(line)
		before = ",\n"
	}
	if len(list) == 0 {
		_, _ = w.WriteString("[")
	}
	_, _ = w.WriteString("]\n")
}

func percent(x float64) string { return fmt.Sprintf("%.0f %%", 100*x) }

func printBinDays(w io.Writer, days []account.BinDay) {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "date\tbin\tmean\tleast\tmost\tCV\tcovered\tfilled\terror\tsource\t")
	for _, d := range days {
		if !d.Known {
			fmt.Fprintf(table, "%s\t%s\t–\t–\t–\t–\t%s\t–\t–\tmissing\t\n", d.Date, d.Bin, percent(d.Covered))
			continue
		}
		cv := "–"
		if !math.IsNaN(d.CV) {
			cv = percent(d.CV)
		}
		fmt.Fprintf(table, "%s\t%s\t%.2f\t%.2f\t%.2f\t%s\t%s\t%s\t%s\t%s\t\n",
			d.Date, d.Bin, d.Mean, d.Min, d.Max, cv, percent(d.Covered), percent(d.Filled), percent(d.Error.Total()), d.Source)
	}
	_ = table.Flush() // w keeps the error
}

func printDays(w io.Writer, days []account.Day) {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(table, "bin\trow\tcolumn\tdate\tDLI\tcovered\tfilled\terror\tsource\t")
	for _, d := range days {
		p := d.Position
		if !d.Known {
			fmt.Fprintf(table, "%s\t%d\t%d\t%s\t–\t%s\t–\t–\tmissing\t\n", p.Bin, p.Row, p.Column, d.Date, percent(d.Covered))
			continue
		}
		fmt.Fprintf(table, "%s\t%d\t%d\t%s\t%.2f\t%s\t%s\t%s\t%s\t\n",
			p.Bin, p.Row, p.Column, d.Date, d.DLI, percent(d.Covered), percent(d.Filled), percent(d.Error.Total()), d.Source)
	}
	_ = table.Flush() // w keeps the error
}

// printLight sums the days up: a grid of mean DLI for each bin, with what
// stands behind it.
func printLight(w io.Writer, t *trial.Trial, season *account.Season) {
	days := season.Days
	if len(days) == 0 {
		fmt.Fprintln(w, "No light is known yet: no sensor has been heard and no survey was walked.")
		return
	}
	first, last := days[0].Date, days[0].Date
	for _, d := range days {
		first, last = light.Earlier(first, d.Date), light.Later(last, d.Date)
	}
	fmt.Fprintf(w, "Daily light integral, mol m⁻² d⁻¹, mean of %s to %s\n", first, last)
	for _, bin := range t.Rack.Bins {
		if !printBin(w, bin, days) {
			continue
		}
		for _, m := range season.Maps {
			if m.Bin == bin.Name {
				fmt.Fprintf(w, "  %s\n", m.Words(t.Rack.Zone))
			}
		}
	}
}

// printBin prints one bin's grid; known is false where none of its light is known.
func printBin(w io.Writer, bin light.Bin, days []account.Day) (known bool) {
	s, known := account.SeasonOf(bin, days)
	if !known {
		fmt.Fprintf(w, "\n%s: light not known.\n", bin.Name)
		return false
	}
	fmt.Fprintf(w, "\n%s: mean %.2f", bin.Name, s.Even.Mean)
	if bin.TargetDLI > 0 {
		fmt.Fprintf(w, " (meant %.1f)", bin.TargetDLI)
	}
	if !math.IsNaN(s.Even.CV) {
		fmt.Fprintf(w, ", least over mean %.2f, CV %s", s.Even.LeastOverMean, percent(s.Even.CV))
	}
	from := strings.Trim(strings.ReplaceAll(fmt.Sprint(s.Sources), " ", ", "), "[]") //nolint:staticcheck // sources print themselves
	fmt.Fprintf(w, "\n  covered %s, filled %s of the light, error %s; from %s", percent(s.Covered), percent(s.Filled), percent(s.Error), from)
	if s.Missing > 0 {
		fmt.Fprintf(w, "; %d days missing", s.Missing)
	}
	fmt.Fprintln(w)
	table := tabwriter.NewWriter(w, 0, 0, 1, ' ', tabwriter.AlignRight)
	for column := range bin.Columns {
		fmt.Fprintf(table, "\t%d", column+1)
	}
	fmt.Fprintln(table, "\t")
	for row := range bin.Rows {
		fmt.Fprintf(table, "%d", row+1)
		for _, mean := range s.Cells[row*bin.Columns:][:bin.Columns] {
			if math.IsNaN(mean) {
				fmt.Fprint(table, "\t–")
			} else {
				fmt.Fprintf(table, "\t%.2f", mean)
			}
		}
		fmt.Fprintln(table, "\t")
	}
	_ = table.Flush() // w keeps the error
	return true
}
