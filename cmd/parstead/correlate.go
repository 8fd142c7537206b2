package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"parstead/cmd/parstead/harvest"
	"parstead/correlate"
	"parstead/correlate/analysis"
	"parstead/correlate/kind"
	"parstead/correlate/tables"
	"parstead/light"
	"parstead/store"
)

// correlateCmd is parstead correlate.
type correlateCmd struct {
	Folder string `arg:"" optional:"" type:"path" help:"The trial's folder."`
	Report string `placeholder:"DIR" help:"Write charts and a page there."`

	Table          string   `placeholder:"FILE" help:"A flat table in place of a folder: a row a plant, .csv or .xlsx."`
	Outcome        []string `sep:"none" placeholder:"NAME:KIND" help:"An outcome of the table; kind: measure, count or yes_no."`
	Treatment      []string `sep:"none" placeholder:"NAME" help:"A treatment that single plants got."`
	BinTreatment   []string `sep:"none" placeholder:"NAME" help:"A treatment that whole bins got; needs --bin."`
	Covariate      []string `sep:"none" placeholder:"NAME" help:"A numeric column to adjust for."`
	Light          string   `placeholder:"NAME" help:"The numeric column of each plant's light."`
	SetsLight      []string `sep:"none" placeholder:"TREATMENT" help:"A treatment that acts through light: never adjusted for it."`
	Block          string   `placeholder:"NAME" help:"The column of blocks."`
	Bin            string   `placeholder:"NAME" help:"The column of bins."`
	Row            string   `placeholder:"NAME" help:"The column of rows in a bin's grid; needs --column."`
	Column         string   `placeholder:"NAME" help:"The column of columns in a bin's grid; needs --row."`
	By             string   `placeholder:"NAME" help:"A column whose values get results of their own."`
	Interactions   bool     `help:"Add all two-way interactions of the treatments."`
	Log            []string `sep:"none" placeholder:"OUTCOME" help:"A measure to be analysed as its natural logarithm."`
	Exposure       string   `placeholder:"NAME" help:"The column that counts are per."`
	NoGrowthInDark bool     `help:"Light curves start from zero: no intercept, bins or treatments in them."`
	Seed           uint64   `default:"1" help:"Of every random draw."`
	Full           bool     `help:"Print every table, comparison, check and shape, and what the terms mean."`
	JSON           bool     `help:"Write the results as JSON, and nothing else."`

	treatments []correlate.Treatment // of both kinds, in the order of the command line
}

// Help is what correlate --help says beside its options.
func (correlateCmd) Help() string {
	return `Of a trial's folder everything is taken that its files say: outcomes, treatments,
places and the light of each plant. Of a table exactly the columns are fitted
that are named. What can't be answered is said, with what would answer it.

Examples:
  parstead correlate mytrial --report mytrial-report
  parstead correlate --table plants.csv --outcome biomass_g:measure \
      --treatment medium --bin bin --light light_dli --json

Exit status: 0 an outcome could be computed, 1 none could or a fault, 2 a command
line that can't be meant.`
}

// AfterApply takes down the order in which treatments of both kinds were
// named: it is that of interactions.
func (c *correlateCmd) AfterApply(call *kong.Context) error {
	plants, bins := c.Treatment, c.BinTreatment
	add := func(names []string, per correlate.SetPer) []string {
		c.treatments = append(c.treatments, correlate.Treatment{Factor: correlate.Factor{Name: names[0]}, SetPer: per})
		return names[1:]
	}
	for _, p := range call.Path {
		switch {
		case p.Flag == nil:
		case p.Flag.Name == "treatment" && len(plants) > 0:
			plants = add(plants, correlate.PerPlant)
		case p.Flag.Name == "bin-treatment" && len(bins) > 0:
			bins = add(bins, correlate.PerBin)
		}
	}
	return nil
}

// Run gives the harvest correlation of a folder or a table.
func (c *correlateCmd) Run(e *env) error {
	h, result, err := c.analysed(e)
	if err != nil {
		return err
	}
	if err := c.print(e.stdout, h, result); err != nil {
		return err
	}
	if c.Report != "" {
		if err := h.WriteReport(e.ctx, e.now, c.Report, "", result); err != nil {
			return err
		}
		fmt.Fprintf(e.stderr, "Report: %s\n", filepath.Join(c.Report, "index.html"))
	}
	return computed(result)
}

func (c *correlateCmd) analysed(e *env) (*harvest.Harvest, *correlate.Result, error) {
	if err := c.usage(); err != nil {
		return nil, nil, err
	}
	h, err := c.read(e)
	if err != nil {
		return nil, nil, err
	}
	result, err := correlate.Analyse(e.ctx, h.Input, correlate.Options{Interactions: c.Interactions, NoGrowthInDark: c.NoGrowthInDark, Seed: c.Seed})
	if err != nil {
		return nil, nil, fmt.Errorf("correlate: %w", err)
	}
	return h, result, nil
}

// print writes the result in the form asked for.
func (c *correlateCmd) print(w io.Writer, h *harvest.Harvest, result *correlate.Result) error {
	switch {
	case c.JSON:
		return printJSON(w, result)
	case c.Full:
		return tables.WriteFull(w, h.Title(), result)
	}
	if err := tables.WriteText(w, h.Title(), result); err != nil {
		return err
	}
	c.more(w)
	return nil
}

// computed demands one outcome that could be analysed.
func computed(result *correlate.Result) error {
	if !result.Computed() {
		return fmt.Errorf("no outcome could be analysed: %s", firstReason(result))
	}
	return nil
}

// more says where the rest is.
func (c *correlateCmd) more(w io.Writer) {
	fmt.Fprintln(w, "\nAll the rest: the same command with --full.")
	if c.Folder != "" && c.Report == "" {
		fmt.Fprintln(w, "Pictures: with --report FOLDER.")
	}
}

// read makes the input of a table, or of a folder.
func (c *correlateCmd) read(e *env) (*harvest.Harvest, error) {
	if c.Table == "" {
		h, err := harvested(e, c.Folder, c.Interactions)
		if err == nil {
			looked(e, h)
		}
		return h, err
	}
	outcomes, err := c.outcomes()
	if err != nil {
		return nil, err
	}
	for i := range c.treatments {
		c.treatments[i].SetsLight = slices.Contains(c.SetsLight, c.treatments[i].Name)
	}
	t := &harvest.Table{
		File: c.Table, Outcomes: outcomes, Treatments: c.treatments, Covariates: c.Covariate, Exposure: c.Exposure,
		Light: c.Light, Block: c.Block, Bin: c.Bin, Row: c.Row, Column: c.Column, By: c.By,
	}
	in, err := t.Read()
	tellRemarks(e.stderr, t.Remarks)
	return &harvest.Harvest{Input: in}, err
}

// harvested reads a trial's folder and tells what of surveys and sensors is not
// used.
func harvested(e *env, folder string, interactions bool) (*harvest.Harvest, error) {
	h, err := harvest.Read(e.ctx, folder, e.now(), interactions)
	if err == nil {
		tellRemarks(e.stderr, h.Remarks)
	}
	return h, err
}

// looked writes into the log that results were read before the trial's end. A
// folder that can't be written to keeps nobody from reading.
func looked(e *env, h *harvest.Harvest) {
	if !h.Input.Early {
		return
	}
	event := light.Event{At: e.now().UTC(), Written: e.now().UTC(), Kind: light.Looked, Text: "results were read before the trial's end"}
	if _, err := store.AddEvent(e.ctx, h.Trial.Dir, store.Options{Now: e.now}, event); err != nil {
		fmt.Fprintln(e.stderr, "parstead: the log does not say that results were read before the end:", err)
	}
}

// firstReason is why the first outcome could not be analysed.
func firstReason(r *correlate.Result) string {
	for _, o := range r.Outcomes {
		for _, check := range o.Checks {
			if check.Check == analysis.NoModel {
				return check.Says
			}
		}
	}
	return "there is none"
}

// usage finds flags that can't be meant together.
func (c *correlateCmd) usage() error {
	switch {
	case c.Folder == "" && c.Table == "":
		return usageError{"correlate needs a trial's folder, or --table FILE"}
	case c.Folder != "" && c.Table != "":
		return usageError{"correlate takes a trial's folder or --table, not both"}
	case c.Folder != "" && c.tableOnly() != "":
		return usageError{c.tableOnly() + " belongs to --table: for a folder it stands in trial.toml"}
	case c.Folder != "":
		return nil
	case len(c.Outcome) == 0:
		return usageError{"--table needs --outcome NAME:KIND"}
	case len(c.BinTreatment) > 0 && c.Bin == "":
		return usageError{"--bin-treatment needs --bin: bins are its replicates"}
	case (c.Row == "") != (c.Column == ""):
		return usageError{"--row and --column go together"}
	case c.NoGrowthInDark && c.Light == "":
		return usageError{"--no-growth-in-dark needs --light"}
	case c.Report != "":
		return usageError{"--report needs a trial's folder"}
	}
	return c.names()
}

// tableOnly is a flag that was given and makes sense with a table alone.
func (c *correlateCmd) tableOnly() string {
	given := []struct {
		flag string
		is   bool
	}{
		{"--outcome", len(c.Outcome) > 0},
		{"--treatment", len(c.Treatment) > 0},
		{"--bin-treatment", len(c.BinTreatment) > 0},
		{"--covariate", len(c.Covariate) > 0},
		{"--light", c.Light != ""},
		{"--sets-light", len(c.SetsLight) > 0},
		{"--block", c.Block != ""},
		{"--bin", c.Bin != ""},
		{"--row", c.Row != ""},
		{"--column", c.Column != ""},
		{"--by", c.By != ""},
		{"--log", len(c.Log) > 0},
		{"--exposure", c.Exposure != ""},
	}
	for _, g := range given {
		if g.is {
			return g.flag
		}
	}
	return ""
}

// names finds names among the flags that don't fit one another.
func (c *correlateCmd) names() error {
	outcomes, err := c.outcomes()
	if err != nil {
		return err
	}
	treatments := slices.Concat(c.Treatment, c.BinTreatment)
	used := map[string]string{}
	for _, o := range outcomes {
		used[o.Name] = "--outcome"
	}
	for _, group := range []struct {
		flag  string
		names []string
	}{{"--treatment", c.Treatment}, {"--bin-treatment", c.BinTreatment}, {"--covariate", c.Covariate}} {
		for _, n := range group.names {
			if before, ok := used[n]; ok {
				return usageError{fmt.Sprintf("%s is named by %s and by %s: name it once", n, before, group.flag)}
			}
			used[n] = group.flag
		}
	}
	for _, n := range c.SetsLight {
		if !slices.Contains(treatments, n) {
			return usageError{fmt.Sprintf("--sets-light %s: name a treatment that --treatment or --bin-treatment names", n)}
		}
	}
	for _, n := range c.Log {
		i := slices.IndexFunc(outcomes, func(o correlate.Outcome) bool { return o.Name == n })
		if i < 0 || !kind.Of(outcomes[i].Kind).Has("scale") {
			return usageError{fmt.Sprintf("--log %s: name a measure that --outcome names", n)}
		}
	}
	if c.Exposure != "" && !slices.ContainsFunc(outcomes, func(o correlate.Outcome) bool { return kind.Of(o.Kind).Has("exposure") }) {
		return usageError{"--exposure is for counts, and no --outcome is one"}
	}
	return nil
}

// outcomes reads NAME:KIND.
func (c *correlateCmd) outcomes() ([]correlate.Outcome, error) {
	var list []correlate.Outcome
	for _, text := range c.Outcome {
		i := strings.LastIndex(text, ":")
		if i < 1 {
			return nil, usageError{fmt.Sprintf("--outcome %s: write NAME:KIND, such as mass_g:measure", text)}
		}
		k, err := kind.Parse(text[i+1:])
		if err != nil {
			return nil, usageError{fmt.Sprintf("--outcome %s: %v", text, err)}
		}
		o := correlate.Outcome{Name: strings.TrimSpace(text[:i]), Kind: k.Name, Scale: correlate.Natural}
		if slices.ContainsFunc(list, func(other correlate.Outcome) bool { return other.Name == o.Name }) {
			return nil, usageError{fmt.Sprintf("--outcome %s is named twice", o.Name)}
		}
		if slices.Contains(c.Log, o.Name) {
			o.Scale = correlate.Log
		}
		list = append(list, o)
	}
	return list, nil
}
