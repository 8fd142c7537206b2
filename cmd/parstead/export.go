package main

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/trial"
	"parstead/store"
)

// exportCmd writes a whole trial as text files.
type exportCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	Dir    string `arg:"" help:"The folder to write into; it must be empty or not be there."`
}

// Help is what export --help says beside its options.
func (exportCmd) Help() string {
	return `Writes the whole trial as CSV files that another program can read:
  readings.csv     what the sensors read, raw; parstead import reads it back
  set_aside.csv    readings of which nobody knows when they were taken
  dli.csv          light of each position and day
  climate.csv      the air of each bin and day
  plants.csv       a row a plant: place, treatments, start, light, outcomes;
                   parstead correlate --table reads it
  log.csv          the trial's log
  description.json units, meaning and source of every column, and what the
                   analysis asks: parstead compare reads it with plants.csv
Times are UTC, RFC 3339. A cell is empty where nothing is known. A daemon may
run meanwhile.

Examples:
  parstead export mytrial mytrial-files
  parstead correlate --table mytrial-files/plants.csv \
      --outcome biomass_g:measure --treatment medium --light light_dli

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run writes the files under another name first, so that the folder is whole
// from the moment it is there.
func (c *exportCmd) Run(e *env) (err error) {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	if err := mustBeEmpty(c.Dir); err != nil {
		return err
	}
	dir := filepath.Clean(c.Dir)
	if err := os.MkdirAll(filepath.Dir(dir), 0o700); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	partial, err := os.MkdirTemp(filepath.Dir(dir), ".parstead-export-*")
	if err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(partial))
		}
	}()
	view, err := store.OpenFolder(e.ctx, c.Folder)
	if err != nil {
		return err
	}
	defer view.Close() //nolint:errcheck // it only read
	x := exporter{env: e, trial: t, view: view, dir: partial}
	if err := x.all(); err != nil {
		return err
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("replace the empty folder: %w", err)
	}
	if err := atomicfile.Rename(partial, dir); err != nil {
		return fmt.Errorf("name the folder: %w", err)
	}
	for _, s := range x.sheets {
		fmt.Fprintf(e.stdout, "%s: %d rows\n", filepath.Join(dir, s.File), s.Rows)
	}
	_, err = fmt.Fprintln(e.stdout, filepath.Join(dir, descriptionFile)+": what every column means")
	return err
}

// mustBeEmpty refuses a folder that holds anything.
func mustBeEmpty(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("look into the folder: %w", err)
	case len(entries) > 0:
		return fmt.Errorf("%s is not empty (it holds %s): name a new folder", dir, entries[0].Name())
	}
	return nil
}

// exporter writes one trial's files and takes down what is in them.
type exporter struct {
	*env
	trial  *trial.Trial
	view   *store.Snapshot
	dir    string
	sheets []sheetMeaning
	data   map[uint64]json.RawMessage // what the program keeps in log entries, by id
}

// sheetMeaning describes a file of an export.
type sheetMeaning struct {
	File    string          `json:"file"`
	Holds   string          `json:"holds"`
	Rows    int             `json:"rows"`
	Columns []columnMeaning `json:"columns"`
}

// columnMeaning describes a column of it.
type columnMeaning struct {
	Name   string `json:"name"`
	Of     string `json:"name_in_trial,omitempty"` // of a column of the trial's own sheets
	Unit   string `json:"unit,omitempty"`
	Means  string `json:"means"`
	Source string `json:"source"`
}

// exportColumn is a column of rows of T.
type exportColumn[T any] struct {
	columnMeaning
	cell func(T) string
}

func (x *exporter) all() error {
	for _, write := range []func() error{x.readings, x.dli, x.climate, x.plants, x.log, x.describe} {
		if err := write(); err != nil {
			return err
		}
	}
	return nil
}

// writeSheet writes a CSV file, a row at a time.
func writeSheet[T any](x *exporter, file, holds string, columns []exportColumn[T], rows iter.Seq2[T, error]) error {
	sheet := sheetMeaning{File: file, Holds: holds}
	err := atomicfile.Create(filepath.Join(x.dir, file), 0o600, func(w *bufio.Writer) error {
		out := csv.NewWriter(w)
		cells := make([]string, len(columns))
		for i, c := range columns {
			sheet.Columns = append(sheet.Columns, c.columnMeaning)
			cells[i] = c.Name
		}
		if err := out.Write(cells); err != nil {
			return err
		}
		for row, err := range rows {
			if err != nil {
				return err
			}
			for i, c := range columns {
				cells[i] = c.cell(row)
			}
			if err := out.Write(cells); err != nil {
				return err
			}
			sheet.Rows++
		}
		out.Flush()
		return out.Error()
	})
	x.sheets = append(x.sheets, sheet)
	return err
}

// each gives a list's elements as rows.
func each[T any](list []T) iter.Seq2[*T, error] {
	return func(yield func(*T, error) bool) {
		for i := range list {
			if !yield(&list[i], nil) {
				return
			}
		}
	}
}

// cell writes a number so that it reads back as the same; empty if not known.
func cell(v float64) string {
	if math.IsNaN(v) {
		return ""
	}
	return strconv.FormatFloat(v, 'g', -1, 64)
}

func timeCell(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339Nano)
}

func yesCell(yes bool) string {
	if yes {
		return "yes"
	}
	return ""
}
