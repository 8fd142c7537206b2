package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"text/tabwriter"

	"parstead/cmd/parstead/export"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/light/climate"
	"parstead/store"
)

// climateCmd tells the air of bins and days.
type climateCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	From   string `placeholder:"DATE" help:"First light day; the trial's first unless given."`
	To     string `placeholder:"DATE" help:"Last light day; the trial's last unless given."`
	JSON   bool   `name:"json" xor:"as" help:"Print an array, an object a bin and day."`
	CSV    bool   `name:"csv" xor:"as" help:"Print a table with commas, a row a bin and day, as export writes it."`
}

// Help is what climate --help says beside its options.
func (climateCmd) Help() string {
	return `The air at the plants of every bin that has a sensor of temperature or humidity:
means over the hours in which a lamp is on by its timer and over the dark ones,
lowest and highest temperature (°C), relative humidity (%), vapour-pressure
deficit (kPa), degree-days above base_celsius of [climate], and where limits are
given there the hours outside them. What the readings don't tell is left out.

Examples:
  parstead climate mytrial
  parstead climate mytrial --from 2026-08-01 --to 2026-08-31 --json

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run prints the climate.
func (c *climateCmd) Run(e *env) error {
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
	days, err := climate.Days(e.ctx, &t.Rack, view, climate.Options{Now: e.now}, from, to)
	if err != nil {
		return err
	}
	out := bufio.NewWriterSize(e.stdout, 1<<16)
	switch {
	case c.CSV:
		err = export.Climate(out, days)
	case c.JSON:
		printArray(out, days)
	default:
		printClimate(out, &t.Rack, days)
	}
	return errors.Join(err, out.Flush())
}

// airColumn is a column of the table of the climate.
type airColumn struct {
	heading, below string
	format         string
	of             func(climate.Day) float64
}

var airColumns = []airColumn{
	{"light", "°C", "%.1f", func(d climate.Day) float64 { return d.LightMean }},
	{"dark", "°C", "%.1f", func(d climate.Day) float64 { return d.DarkMean }},
	{"least", "°C", "%.1f", func(d climate.Day) float64 { return d.Min }},
	{"most", "°C", "%.1f", func(d climate.Day) float64 { return d.Max }},
	{"light", "% RH", "%.0f", func(d climate.Day) float64 { return d.HumidityLight }},
	{"dark", "% RH", "%.0f", func(d climate.Day) float64 { return d.HumidityDark }},
	{"light", "kPa", "%.2f", func(d climate.Day) float64 { return d.VPDLight }},
	{"dark", "kPa", "%.2f", func(d climate.Day) float64 { return d.VPDDark }},
	{"deg.-", "days", "%.1f", func(d climate.Day) float64 { return d.DegreeDays }},
	{"cold", "h", "%.1f", func(d climate.Day) float64 { return d.Cold }},
	{"hot", "h", "%.1f", func(d climate.Day) float64 { return d.Hot }},
	{"dry", "h", "%.1f", func(d climate.Day) float64 { return d.Dry }},
	{"damp", "h", "%.1f", func(d climate.Day) float64 { return d.Damp }},
}

// printClimate writes a table a bin, with the columns of which anything is known.
func printClimate(w io.Writer, rack *light.Rack, days []climate.Day) {
	if len(days) == 0 {
		fmt.Fprintln(w, "No day to tell of yet: the trial has not begun, or no sensor measures the air.")
		return
	}
	var columns []airColumn
	for _, c := range airColumns {
		for _, d := range days {
			if !math.IsNaN(c.of(d)) {
				columns = append(columns, c)
				break
			}
		}
	}
	for len(days) > 0 {
		n := 0
		for n < len(days) && days[n].Bin == days[0].Bin {
			n++
		}
		printAir(w, rack, columns, days[:n])
		if days = days[n:]; len(days) > 0 {
			fmt.Fprintln(w)
		}
	}
}

// printAir writes the table of one bin.
func printAir(w io.Writer, rack *light.Rack, columns []airColumn, days []climate.Day) {
	if !slices.ContainsFunc(columns, func(c airColumn) bool {
		return slices.ContainsFunc(days, func(d climate.Day) bool { return !math.IsNaN(c.of(d)) })
	}) {
		fmt.Fprintf(w, "%s: no reading of the air from %s to %s.\n", days[0].Bin, days[0].Date, days[len(days)-1].Date)
		return
	}
	sum, counted := 0.0, 0
	for _, d := range days {
		if !math.IsNaN(d.DegreeDays) {
			sum += d.DegreeDays
			counted++
		}
	}
	fmt.Fprint(w, days[0].Bin)
	if rack.HasBase && counted > 0 {
		fmt.Fprintf(w, ": %.0f degree-days above %g °C in %d of %d days", sum, rack.BaseCelsius, counted, len(days))
	}
	fmt.Fprintln(w)
	table := tabwriter.NewWriter(w, 0, 0, 1, ' ', tabwriter.AlignRight)
	headings, below := "date\t", "\t"
	for _, c := range columns {
		headings += c.heading + "\t"
		below += c.below + "\t"
	}
	fmt.Fprintln(table, headings)
	fmt.Fprintln(table, below)
	for _, d := range days {
		fmt.Fprintf(table, "%s\t", d.Date)
		for _, c := range columns {
			if v := c.of(d); math.IsNaN(v) {
				fmt.Fprint(table, "–\t")
			} else {
				fmt.Fprintf(table, c.format+"\t", v)
			}
		}
		fmt.Fprintln(table)
	}
	_ = table.Flush() // w keeps the error
}
