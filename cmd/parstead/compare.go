package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"parstead/cmd/parstead/trial"
	"parstead/correlate"
	"parstead/correlate/report"
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
	patience()
	if len(c.Folders) < 2 {
		return usageError{"compare needs two folders or more: parstead compare FOLDER FOLDER"}
	}
	if err := eachOnce(c.Folders); err != nil {
		return err
	}
	list := make([]*harvested, len(c.Folders))
	for i, folder := range c.Folders {
		h, err := readHarvested(e, folder)
		if err != nil {
			return fmt.Errorf("%s: %w", folder, err)
		}
		list[i] = h
	}
	splitAlike(list)
	trials := make([]correlate.Trial, len(list))
	for i, h := range list {
		result, err := correlate.Analyse(e.ctx, h.in, correlate.Options{Seed: c.Seed})
		if err != nil {
			return fmt.Errorf("%s: %w", h.folder, err)
		}
		trials[i] = h.asTrial(result)
	}
	compared, err := correlate.Compare(trials)
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

// harvested is a trial with the input of its analysis.
type harvested struct {
	folder   string
	exported bool
	trial    *trial.Trial
	in       *correlate.Input
}

// readHarvested reads a trial's folder, or an export.
func readHarvested(e *env, folder string) (*harvested, error) {
	if !isExport(folder) {
		one := correlateCmd{Folder: folder}
		var talk bytes.Buffer
		of := *e
		of.stderr = &talk
		in, err := one.input(&of)
		if told := tellOf(e.stderr, folder, talk.Bytes()); err == nil {
			err = told
		}
		if err != nil {
			return nil, err
		}
		t, err := trial.Open(folder)
		if err != nil {
			return nil, err
		}
		return &harvested{folder, false, t, in}, nil
	}
	x, err := readExport(folder)
	if err != nil {
		return nil, err
	}
	if !slices.ContainsFunc(x.trial.Plants, func(p trial.Plant) bool { return p.HasHarvest }) {
		return nil, errors.New("it was exported before its harvest: export the trial again")
	}
	in := inputOf(x.trial, x.lights)
	in.Early = e.now().Before(x.trial.Rack.Trial().Until)
	if err := planned(in, x.trial, x.log, false); err != nil {
		return nil, err
	}
	return &harvested{folder, true, x.trial, in}, nil
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

// splitAlike gives a trial whose plants are all of one kind, and that therefore
// splits its results by nothing, the split of the others, so that its results
// find those of the same kind.
func splitAlike(list []*harvested) {
	for _, h := range list {
		if h.in.By != nil {
			continue
		}
		for _, other := range list {
			if other.in.By == nil {
				continue
			}
			by := columnFactor(h.trial, other.in.By.Name)
			if len(by.Levels) == 1 && !slices.Contains(by.Codes, correlate.Blank) {
				h.in.By = by
				break
			}
		}
	}
}

func (h *harvested) asTrial(result *correlate.Result) correlate.Trial {
	t := h.trial
	days := t.Rack.Starts.DaysUntil(t.Rack.Ends) + 1
	words, length := comparableWindow(t, days)
	return correlate.Trial{
		Name: t.Name, Folder: h.folder, Exported: h.exported, Starts: t.Rack.Starts.String(), Ends: t.Rack.Ends.String(), Days: days,
		Window: words, WindowDays: length, Input: h.in, Result: result,
	}
}

// comparableWindow words a light window without dates of its own year.
func comparableWindow(t *trial.Trial, days int) (words string, length int) {
	switch w := t.Window; {
	case w.First > 0:
		return fmt.Sprintf("the first %d days", w.First), min(w.First, days)
	case w.Last > 0:
		return fmt.Sprintf("the last %d days", w.Last), min(w.Last, days)
	case !w.From.IsZero():
		from, to := t.Rack.Starts.DaysUntil(w.From)+1, t.Rack.Starts.DaysUntil(w.To)+1
		return fmt.Sprintf("day %d to day %d", from, to), to - from + 1
	}
	return "the whole trial", days
}
