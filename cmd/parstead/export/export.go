// Package export writes a whole trial as text files that other programs read, with
// a description, and reads the harvest of such an export back.
package export

import (
	"bufio"
	"context"
	"encoding/csv"
	"encoding/json"
	"iter"
	"math"
	"path/filepath"
	"strconv"
	"time"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/trial"
	"parstead/store"
)

// Description is the file that says what every column means.
const Description = "description.json"

// Written is what an export wrote.
type Written struct {
	Sheets  []SheetMeaning
	Remarks []string // what of surveys and sensors is not used
}

// Write writes a trial's files into dir, which must be empty or not be there. The
// folder is whole from the moment it is there.
func Write(ctx context.Context, t *trial.Trial, dir string, now func() time.Time) (Written, error) {
	x := exporter{trial: t, now: now}
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
	trial *trial.Trial
	now   func() time.Time
	view  *store.Snapshot
	dir   string
	data  map[uint64]json.RawMessage // what the program keeps in log entries, by id
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
	Unit   string `json:"unit,omitempty"`
	Means  string `json:"means"`
	Source string `json:"source"`
}

// column is a column of rows of T.
type column[T any] struct {
	ColumnMeaning
	cell func(T) string
}

func (x *exporter) all(ctx context.Context) error {
	for _, write := range []func(context.Context) error{x.readings, x.dli, x.climate, x.plants, x.log, x.describe} {
		if err := write(ctx); err != nil {
			return err
		}
	}
	return nil
}

// writeSheet writes a CSV file, a row at a time.
func writeSheet[T any](x *exporter, file, holds string, columns []column[T], rows iter.Seq2[T, error]) error {
	sheet := SheetMeaning{File: file, Holds: holds}
	err := atomicfile.Create(filepath.Join(x.dir, file), 0o600, func(w *bufio.Writer) error {
		out := csv.NewWriter(w)
		cells := make([]string, len(columns))
		for i, c := range columns {
			sheet.Columns = append(sheet.Columns, c.ColumnMeaning)
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
	x.Sheets = append(x.Sheets, sheet)
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
