// Package export writes a whole trial as text files that other programs read, with
// a description, and reads the harvest of such an export back.
package export

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/photo"
	"parstead/cmd/parstead/trial"
	"parstead/light"
	"parstead/store"
)

// Written is what an export wrote.
type Written struct {
	Sheets  []SheetMeaning
	Files   []string // of the trial's own, as they stand
	Remarks []string // what of surveys and sensors is not used, and of files not copied
}

// Write writes a trial's files into dir, which must be empty or not be there; of
// readings and days those of the light days from one date to another, both included;
// the trial's, with what was read around it, where a date is zero. The folder is whole
// from the moment it is there.
func Write(ctx context.Context, t *trial.Trial, dir string, from, to light.Date, now func() time.Time) (Written, error) {
	x := exporter{trial: t, now: now, from: from, to: to}
	x.during = light.Span{From: t.Rack.Day(from).From, Until: t.Rack.Day(to).Until}
	if from.IsZero() {
		x.from, x.during.From = t.Rack.Starts, time.Time{}
	}
	if to.IsZero() {
		x.to, x.during.Until = t.Rack.Ends, time.Time{}
	}
	err := atomicfile.CreateFolder(dir, func(partial string) error {
		view, err := store.OpenFolder(ctx, t.Dir)
		if err != nil {
			return err
		}
		defer view.Close() //nolint:errcheck // it only read
		x.view, x.dir = view, partial
		return x.all(ctx)
	})
	return x.Written, err
}

// exporter writes one trial's files and takes down what is in them.
type exporter struct {
	Written
	trial    *trial.Trial
	now      func() time.Time
	from, to light.Date
	during   light.Span // of readings, open where no day is asked for
	view     *store.Snapshot
	dir      string
}

// SheetMeaning describes a file of an export.
type SheetMeaning struct {
	File    string          `json:"file"`
	Holds   string          `json:"holds"`
	Rows    int             `json:"rows"`
	Columns []ColumnMeaning `json:"columns"`
}

// ColumnMeaning describes a column of it.
type ColumnMeaning struct {
	Name   string `json:"name"`
	Of     string `json:"name_in_trial,omitempty"` // of a column of the trial's own sheets
	Type   string `json:"type"`                    // by the Table Schema standard
	Unit   string `json:"unit,omitempty"`
	Means  string `json:"means"`
	Source string `json:"source"`
}

func (x *exporter) all(ctx context.Context) error {
	for _, write := range []func(context.Context) error{x.readings, x.dli, x.climate, x.plants, x.log, x.copies, x.photos, x.describe} {
		if err := write(ctx); err != nil {
			return err
		}
	}
	return nil
}

// writeSheet writes a CSV file, a row at a time.
func writeSheet[T any](x *exporter, file, holds string, columns []column[T], rows iter.Seq2[T, error]) error {
	sheet := SheetMeaning{File: file, Holds: holds}
	for _, c := range columns {
		sheet.Columns = append(sheet.Columns, c.ColumnMeaning)
	}
	err := atomicfile.Create(filepath.Join(x.dir, file), 0o600, func(w *bufio.Writer) (err error) {
		sheet.Rows, err = writeRows(w, columns, rows)
		return err
	})
	x.Sheets = append(x.Sheets, sheet)
	return err
}

// writeRows writes headings and rows as CSV and counts the rows.
func writeRows[T any](w io.Writer, columns []column[T], rows iter.Seq2[T, error]) (n int, err error) {
	out := csv.NewWriter(w)
	cells := make([]string, len(columns))
	for i, c := range columns {
		cells[i] = c.Name
	}
	if err := out.Write(cells); err != nil {
		return 0, err
	}
	for row, err := range rows {
		if err != nil {
			return n, err
		}
		for i, c := range columns {
			cells[i] = c.cell(row)
		}
		if err := out.Write(cells); err != nil {
			return n, err
		}
		n++
	}
	out.Flush()
	return n, out.Error()
}

// copies copies the trial's own files as they stand: sheets, trial.toml and spectra.
// What it names beside, passwords and codes, stays out.
func (x *exporter) copies(context.Context) error {
	if err := os.Mkdir(filepath.Join(x.dir, sheetsFolder), 0o700); err != nil {
		return err
	}
	for _, name := range x.trial.OwnFiles() {
		if !filepath.IsLocal(name) {
			x.Remarks = append(x.Remarks, fmt.Sprintf("%s lies outside the trial's folder and was not copied: copy it by hand", name))
			continue
		}
		if err := x.copy(name, filepath.Join(sheetsFolder, name)); err != nil {
			return err
		}
	}
	return nil
}

// sheetsFolder holds the trial's own files.
const sheetsFolder = "sheets"

// copy copies a file of the trial's folder to a place in the export.
func (x *exporter) copy(name, to string) error {
	text, err := os.ReadFile(filepath.Join(x.trial.Dir, name))
	if err != nil {
		return fmt.Errorf("copy %s: %w", name, err)
	}
	path := filepath.Join(x.dir, to)
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	if err := os.WriteFile(path, text, 0o600); err != nil {
		return err
	}
	x.Files = append(x.Files, filepath.ToSlash(to))
	return nil
}

// photos copies the photos of plants; no link among them is followed.
func (x *exporter) photos(context.Context) error {
	entries, err := os.ReadDir(filepath.Join(x.trial.Dir, photo.Folder))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("look for photos: %w", err)
	}
	for _, e := range entries {
		if !e.Type().IsRegular() || filepath.Ext(e.Name()) != ".jpg" {
			continue
		}
		at := filepath.Join(photo.Folder, e.Name())
		if err := x.copy(at, at); err != nil {
			return err
		}
	}
	return nil
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
