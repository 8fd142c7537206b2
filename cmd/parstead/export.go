package main

import (
	"fmt"
	"path/filepath"

	"parstead/cmd/parstead/export"
	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// exportCmd writes a whole trial as text files.
type exportCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	Dir    string `arg:"" help:"The folder to write into; it must be empty or not be there."`
	From   string `placeholder:"DATE" help:"First light day of readings and days; the trial's first unless given."`
	To     string `placeholder:"DATE" help:"Last light day of readings and days; the trial's last unless given."`
}

// Help is what export --help says beside its options.
func (exportCmd) Help() string {
	return `Writes the whole trial as CSV files that another program can read:
  readings.csv     what the sensors read, raw; parstead import reads it back
  set_aside.csv    readings of which nobody knows when they were taken
  dli.csv          light of each position and day
  climate.csv      the air of each bin and day
  survey_residuals.csv
                   each row of the survey beside what the others expect
  plants.csv       a row a plant: place, treatments, start, light, outcomes;
                   parstead correlate --table reads it
  log.csv          the trial's log; parstead import reads it back
  sheets/          trial.toml, every sheet and spectrum as they stand;
                   passwords and codes are files of their own and stay out
  datapackage.json type, unit, meaning and source of every column, by the Data
                   Package standard, and what the analysis asks:
                   parstead compare reads it with plants.csv
Times are UTC, RFC 3339. A cell is empty where nothing is known. A daemon may
run meanwhile. To have the trial again, copy sheets/ into an empty folder and
import log.csv and readings.csv into that.

Examples:
  parstead export mytrial mytrial-files
  parstead correlate --table mytrial-files/plants.csv \
      --outcome biomass_g:measure --treatment medium --light light_dli

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run writes the files and says what they hold.
func (c *exportCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	from, to, err := lightDays(t, c.From, c.To)
	if err != nil {
		return err
	}
	if c.From == "" {
		from = light.Date{}
	}
	if c.To == "" {
		to = light.Date{}
	}
	written, err := export.Write(e.ctx, t, c.Dir, from, to, e.now)
	if err != nil {
		return err
	}
	tellRemarks(e.stderr, written.Remarks)
	for _, s := range written.Sheets {
		fmt.Fprintf(e.stdout, "%s: %d rows\n", filepath.Join(c.Dir, s.File), s.Rows)
	}
	for _, file := range written.Files {
		fmt.Fprintf(e.stdout, "%s: as it stands\n", filepath.Join(c.Dir, file))
	}
	_, err = fmt.Fprintln(e.stdout, filepath.Join(c.Dir, export.Descriptor)+": what every column means")
	return err
}
