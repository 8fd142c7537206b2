package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"parstead/cmd/parstead/export"
	"parstead/cmd/parstead/harvest"
	"parstead/correlate"
	"parstead/correlate/report"
	"parstead/correlate/several"
)

// compareCmd is parstead compare.
type compareCmd struct {
	Folders  []string `arg:"" name:"folder" help:"The trials' folders, or what parstead export wrote of them; two or more."`
	Pictures string   `placeholder:"DIR" help:"Draw what several trials have there, as SVG, PNG and CSV."`
	Seed     uint64   `default:"1" help:"Of every random draw."`
	JSON     bool     `help:"Write the comparison as JSON, and nothing else."`
}

// Help is what compare --help says beside its options.
func (compareCmd) Help() string {
	return `Sets effects of like-named treatments and slopes on light of several trials side
by side: outcomes, treatments, levels and values of analyse_by by their names. It
says for each whether the trials agree. A mean over trials counts each trial once
and is exploratory; where trials measured another thing (scale, unit, basis,
replicate, light window, length) there is none, and it is said why.

Each folder is a trial's, or one that parstead export wrote. Daemons may run.

Examples:
  parstead compare spring autumn
  parstead compare spring autumn-files --json
  parstead compare spring autumn --pictures both

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run correlates each trial and sets the results side by side.
func (c *compareCmd) Run(e *env) error {
	if len(c.Folders) < 2 {
		return usageError{"compare needs two folders or more: parstead compare FOLDER FOLDER"}
	}
	if err := eachOnce(c.Folders); err != nil {
		return err
	}
	list := make([]*harvest.Harvest, len(c.Folders))
	for i, folder := range c.Folders {
		h, err := readHarvested(e, folder)
		if err != nil {
			return fmt.Errorf("%s: %w", folder, err)
		}
		list[i] = h
	}
	harvest.SplitAlike(list)
	trials := make([]several.Trial, len(list))
	for i, h := range list {
		result, err := correlate.Analyse(e.ctx, h.Input, correlate.Options{Seed: c.Seed})
		if err != nil {
			return fmt.Errorf("%s: %w", c.Folders[i], err)
		}
		trials[i] = h.Compared(c.Folders[i], export.Is(c.Folders[i]), result)
	}
	compared, err := several.Compare(trials)
	if err != nil {
		return err
	}
	if c.JSON {
		err = printJSON(e.stdout, compared)
	} else {
		err = compared.WriteText(e.stdout)
	}
	if err != nil {
		return err
	}
	if c.Pictures == "" {
		return nil
	}
	if err := report.WriteCompared(c.Pictures, compared); err != nil {
		return err
	}
	_, err = fmt.Fprintf(e.stderr, "Pictures: %s\n", c.Pictures)
	return err
}

// eachOnce refuses a folder that is named twice, by whatever way.
func eachOnce(folders []string) error {
	var seen []os.FileInfo
	for i, folder := range folders {
		info, err := os.Stat(folder)
		if errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s is not there: name the folder of a trial or of an export", folder)
		}
		if err != nil {
			return fmt.Errorf("look at the folder: %w", err)
		}
		if k := slices.IndexFunc(seen, func(other os.FileInfo) bool { return os.SameFile(info, other) }); k >= 0 {
			return usageError{fmt.Sprintf("%s and %s are one folder: name each trial once", folders[k], folder)}
		}
		seen = append(seen, info)
		folders[i] = filepath.Clean(folder)
	}
	return nil
}

// readHarvested reads a trial's folder, or an export.
func readHarvested(e *env, folder string) (*harvest.Harvest, error) {
	if !export.Is(folder) {
		var talk bytes.Buffer
		of := *e
		of.stderr = &talk
		h, err := harvested(&of, folder, false)
		if err == nil {
			looked(&of, h)
		}
		return h, cmp.Or(err, tellOf(e.stderr, folder, talk.Bytes()))
	}
	x, err := export.Read(folder)
	if err != nil {
		return nil, err
	}
	if !x.Trial.Harvested() {
		return nil, errors.New("it was exported before its harvest: export the trial again")
	}
	return harvest.Of(x.Trial, x.Lights, x.Log, e.now(), false)
}

// tellOf hands on what a command said of one folder, with its name.
func tellOf(w io.Writer, folder string, talk []byte) error {
	for line := range bytes.Lines(talk) {
		if _, err := fmt.Fprintf(w, "%s: %s", folder, line); err != nil {
			return err
		}
	}
	return nil
}
