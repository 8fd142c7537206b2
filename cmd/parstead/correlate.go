package main

import (
	"fmt"

	"github.com/alecthomas/kong"

	"parstead/correlate"
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
	JSON           bool     `help:"Write the results as JSON, and nothing else."`

	treatments []statedTreatment // of both kinds, in the order of the command line
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

type statedTreatment struct {
	name string
	per  correlate.SetPer
}

// AfterApply takes down the order in which treatments of both kinds were
// named: it is that of interactions.
func (c *correlateCmd) AfterApply(call *kong.Context) error {
	plants, bins := c.Treatment, c.BinTreatment
	for _, p := range call.Path {
		switch {
		case p.Flag == nil:
		case p.Flag.Name == "treatment" && len(plants) > 0:
			c.treatments = append(c.treatments, statedTreatment{plants[0], correlate.PerPlant})
			plants = plants[1:]
		case p.Flag.Name == "bin-treatment" && len(bins) > 0:
			c.treatments = append(c.treatments, statedTreatment{bins[0], correlate.PerBin})
			bins = bins[1:]
		}
	}
	return nil
}

// Run gives the harvest correlation of a folder or a table.
func (c *correlateCmd) Run(e *env) error {
	patience()
	if err := c.usage(); err != nil {
		return err
	}
	in, err := c.input(e)
	if err != nil {
		return err
	}
	result, err := correlate.Analyse(e.ctx, in, correlate.Options{Interactions: c.Interactions, NoGrowthInDark: c.NoGrowthInDark, Seed: c.Seed})
	if err != nil {
		return fmt.Errorf("correlate: %w", err)
	}
	if c.JSON {
		err = printJSON(e.stdout, result)
	} else {
		err = correlate.WriteText(e.stdout, result)
	}
	if err != nil {
		return err
	}
	if c.Report != "" {
		if err := writeReport(e, c.Folder, c.Report, "", in, result); err != nil {
			return err
		}
	}
	if !result.Computed() {
		return fmt.Errorf("no outcome could be analysed: %s", firstReason(result))
	}
	return nil
}

func (c *correlateCmd) input(e *env) (*correlate.Input, error) {
	if c.Table != "" {
		return c.readTable()
	}
	in, err := c.readFolder(e)
	if err == nil && in.Early {
		looked(e, c.Folder)
	}
	return in, err
}

// firstReason is why the first outcome could not be analysed.
func firstReason(r *correlate.Result) string {
	for _, o := range r.Outcomes {
		for _, check := range o.Checks {
			if check.Check == "model" {
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
