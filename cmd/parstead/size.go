package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"parstead/correlate"
	"parstead/correlate/next"
	"parstead/correlate/phrase"
)

// sizeCmd is parstead size.
type sizeCmd struct {
	Folder       string  `arg:"" optional:"" type:"path" help:"A trial whose harvest tells how plants and bins vary."`
	Outcome      string  `placeholder:"NAME" help:"An outcome of the trial; its primary one unless given."`
	Treatment    string  `placeholder:"NAME" help:"A treatment of the trial; all of them unless given."`
	SD           *amount `name:"sd" placeholder:"X" help:"Standard deviation of plants treated alike."`
	Difference   *amount `placeholder:"X" help:"The difference between two levels that is to be settled."`
	Power        float64 `default:"0.8" help:"How often a trial should show it if it is there."`
	Levels       int     `placeholder:"K" help:"Levels that are compared; 2, or the trial's, unless given."`
	Bins         int     `placeholder:"N" help:"Bins that the rack has; tells whether all fits."`
	BinSD        *amount `name:"bin-sd" placeholder:"X" help:"Standard deviation of bins beyond that of their plants."`
	PlantsPerBin int     `placeholder:"N" help:"Plants of one kind in a bin."`
	JSON         bool    `name:"json" help:"Write the result as JSON, and nothing else."`
}

// Help is what size --help says beside its options.
func (sizeCmd) Help() string {
	return `How many plants, or whole bins, each level of a treatment needs so that a trial
settles a difference of the size that matters to you. Spreads and differences
are in the outcome's unit, or all of them in per cent of the mean: 24%.

Where single plants get the treatment, plants are the replicates. What is set for
a whole bin has the bin as its replicate: with --bin-sd and --plants-per-bin the
bins are told too. A finished trial knows its own spreads, what starting size and
light take off them, the difference that matters (matters in trial.toml) and its
rack; what you give goes before that. Counts are simulated, yes/no answers taken
exactly; of these 0.1 means ten points of a hundred, and 10% an odds ratio of 1.1.

The number is for the test of all levels together, with two of them the given
difference apart and the others half way between; the number for the interval of
one such pair is told beside it. Plants are counted at harvest: begin with more
where some are lost. A difference that a trial happened to show is
not one to ask about: ask about the smallest that you would act on.

Examples:
  parstead size --sd 24% --difference 10% --levels 4
  parstead size --sd 2.1 --difference 1.5 --bin-sd 0.6 --plants-per-bin 24 \
      --bins 6
  parstead size mytrial --outcome biomass_g --difference 10%

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// amount is a number in the outcome's unit or a share of the mean, as "10%".
type amount correlate.Difference

// UnmarshalText reads "1.5" or "10%".
func (a *amount) UnmarshalText(text []byte) error {
	s := strings.TrimSpace(string(text))
	number, share := strings.CutSuffix(s, "%")
	v, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || math.IsNaN(v) || math.IsInf(v, 0) {
		return fmt.Errorf("%q is no number: write it as 1.5, or 10%% for a share of the mean", s)
	}
	if share {
		v /= 100
	}
	*a = amount{Value: v, Share: share}
	return nil
}

// Run sizes a next trial.
func (c *sizeCmd) Run(e *env) error {
	if err := c.usage(); err != nil {
		return err
	}
	var sized *correlate.NextTrial
	var err error
	if c.Folder == "" {
		if sized, err = next.Size(c.ask()); err != nil {
			return err
		}
	} else if sized, err = c.ofFolder(e); err != nil {
		return err
	}
	if c.JSON {
		return printJSON(e.stdout, sized)
	}
	return next.WriteText(e.stdout, sized)
}

func (c *sizeCmd) ask() next.Ask {
	return next.Ask{
		Outcome: c.Outcome, Treatment: c.Treatment, Power: c.Power, Levels: c.Levels, Bins: c.Bins, PlantsPerBin: c.PlantsPerBin,
		Difference: (*correlate.Difference)(c.Difference), SD: (*correlate.Difference)(c.SD), BinSD: (*correlate.Difference)(c.BinSD),
	}
}

// usage finds what can't be meant.
func (c *sizeCmd) usage() error {
	if c.Power == 0 {
		return usageError{"a power of 0 asks for nothing: 0.8 is usual"}
	}
	if err := c.ask().Validate(); err != nil {
		return usageError{err.Error()}
	}
	switch {
	case c.Folder != "":
		return nil
	case c.Outcome != "" || c.Treatment != "":
		return usageError{"--outcome and --treatment are a trial's: name its folder too"}
	case c.SD == nil || c.Difference == nil:
		return usageError{"size needs --sd and --difference, or a trial's folder that knows them"}
	case c.BinSD != nil && c.PlantsPerBin == 0:
		return usageError{"--bin-sd needs --plants-per-bin: a bin's mean varies by both"}
	case c.Bins != 0 && c.PlantsPerBin == 0:
		return usageError{"--bins needs --plants-per-bin: together they are what the rack holds"}
	case c.PlantsPerBin != 0 && c.Bins == 0 && c.BinSD == nil:
		return usageError{"--plants-per-bin needs --bin-sd, or --bins for what the rack holds"}
	case c.SD.Share != c.Difference.Share || c.BinSD != nil && c.BinSD.Share != c.SD.Share:
		return usageError{"--sd, --bin-sd and --difference don't meet: give all in per cent of the mean, or all in the outcome's unit"}
	}
	return nil
}

// ofFolder sizes by what a trial's harvest tells.
func (c *sizeCmd) ofFolder(e *env) (*correlate.NextTrial, error) {
	h, err := harvested(e, c.Folder, false)
	if err != nil {
		return nil, err
	}
	if err := c.choose(h.Input); err != nil {
		return nil, err
	}
	result, err := correlate.Analyse(e.ctx, h.Input, correlate.Options{Seed: 1})
	if err != nil {
		return nil, fmt.Errorf("correlate: %w", err)
	}
	sized, reasons, err := next.Trial(result, c.ask())
	if err != nil {
		return nil, err
	}
	for i := range result.Outcomes {
		for _, check := range reasons[i] {
			o := &result.Outcomes[i]
			fmt.Fprintf(e.stderr, "parstead: %s: %s\n", phrase.About(o.Name, o.Of, check.Of), check.Says)
		}
	}
	switch {
	case sized != nil:
		return sized, nil
	case len(reasons) > 0:
		return nil, errSaid
	case !result.Computed():
		return nil, fmt.Errorf("%s could not be analysed: %s", c.Outcome, firstReason(result))
	}
	return nil, errors.New("the trial compares no treatment in " + c.Outcome + ": give --sd and --difference without a folder")
}

// choose leaves the one outcome in that is asked about.
func (c *sizeCmd) choose(in *correlate.Input) error {
	var names []string
	for _, o := range in.Outcomes {
		if c.Outcome == "" && o.Primary {
			c.Outcome = o.Name
		}
		names = append(names, o.Name)
	}
	if c.Outcome == "" {
		return usageError{"the trial has no primary outcome: give --outcome, one of " + strings.Join(names, ", ")}
	}
	in.Outcomes = slices.DeleteFunc(in.Outcomes, func(o correlate.Outcome) bool { return o.Name != c.Outcome })
	if len(in.Outcomes) == 0 {
		return usageError{fmt.Sprintf("the trial has no outcome %q: it has %s", c.Outcome, strings.Join(names, ", "))}
	}
	if c.Treatment != "" && !slices.ContainsFunc(in.Treatments, func(t correlate.Treatment) bool { return t.Name == c.Treatment }) {
		return usageError{fmt.Sprintf("the trial has no treatment %q", c.Treatment)}
	}
	return nil
}
