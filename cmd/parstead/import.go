package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/schollz/progressbar/v3"

	"parstead/cmd/parstead/cells"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
	"parstead/store"
)

// importCmd takes readings in from a logger's file.
type importCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	File   string `arg:"" help:"The logger's file; - for standard input."`
	JSON   bool   `name:"json" help:"Print the counts as an object: rows, stored, rejected, set_aside."`
}

// Help is what import --help says beside its options.
func (importCmd) Help() string {
	return `FILE is a table with the columns time, sensor and value, separated by commas,
semicolons or tabs. Sensor: a name of trial.toml. Value: the raw one, as the
sensor gave it; scale and offset are applied when it is read. Time: RFC 3339, or
2026-07-21 14:05:30 in the trial's time zone.

An unknown sensor or a row that can't be read: nothing is written. Readings that
are refused by judgement (seen before, an impossible time, no number) are
counted, the rest is stored. To import a file twice does no harm. A daemon may
run meanwhile.

Example: parstead import mytrial logger.csv

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run reads the file to its end, then stores it.
func (c *importCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	sink := &lateWriter{folder: c.Folder, options: store.Options{Now: e.now}}
	clock := ingest.SystemClock()
	clock.Now = e.now
	intake, err := ingest.New(ingest.Config{
		Sink: sink, Feeds: t.Feeds, Starts: t.Rack.Trial().From, Clock: clock, Log: slog.New(slog.DiscardHandler),
	})
	if err != nil {
		return err
	}
	name, file, size, err := c.open(e)
	if err != nil {
		return err
	}
	if bar := importBar(e.stderr, size); bar != nil {
		sink.stored = func(n int) { bar.Describe(fmt.Sprintf("%d stored", n)) }
		file = teeCloser{io.TeeReader(file, bar), file}
		defer bar.Finish() //nolint:errcheck // a bar that can't be drawn is no fault
	}
	var sum ingest.Summary
	rows, err := cells.NewLoggerFile(name, file)
	if err == nil {
		sum, err = intake.Import(e.ctx, name, rows, t.Rack.Zone)
	}
	if err = errors.Join(err, file.Close(), sink.Close()); err != nil {
		return err
	}
	if c.JSON {
		return printJSON(e.stdout, sum)
	}
	return printSummary(e.stdout, name, sum)
}

// open opens the file, with the name that messages call it by and its size; -1
// where that is not known.
func (c *importCmd) open(e *env) (name string, file io.ReadCloser, size int64, err error) {
	if c.File == "-" {
		return "standard input", io.NopCloser(e.stdin), -1, nil
	}
	f, err := os.Open(c.File)
	if errors.Is(err, fs.ErrNotExist) {
		return "", nil, 0, fmt.Errorf("%s is not there: name the logger's file, or - for standard input", c.File)
	}
	if err != nil {
		return "", nil, 0, fmt.Errorf("read the logger's file: %w; make it readable", err)
	}
	size = -1
	if info, err := f.Stat(); err == nil {
		if info.IsDir() {
			return "", nil, 0, errors.Join(fmt.Errorf("%s is a folder: name the logger's file in it", c.File), f.Close())
		}
		size = info.Size()
	}
	return filepath.Base(c.File), f, size, nil
}

// lateWriter opens the database when there is something to write into it, so
// that a file with a mistake leaves no trace.
type lateWriter struct {
	folder  string
	options store.Options
	stored  func(readings int) // told how many are on disk; nil for nobody

	writer store.Writer
	count  int
}

// Append keeps a group.
func (w *lateWriter) Append(ctx context.Context, group []light.Reading) (fates []light.Fate, err error) {
	if w.writer == nil {
		if w.writer, err = store.OpenWriter(ctx, w.folder, w.options); err != nil {
			return nil, err
		}
	}
	fates, err = w.writer.Append(ctx, group)
	if w.count += len(group); err == nil && w.stored != nil {
		w.stored(w.count)
	}
	return fates, err
}

// Close closes the database where it was opened.
func (w *lateWriter) Close() error {
	if w.writer == nil {
		return nil
	}
	return w.writer.Close()
}

type teeCloser struct {
	io.Reader
	io.Closer
}

// bigFile is from how many bytes on an import shows how far it is.
const bigFile = 4 << 20

// importBar shows how much of a big file is read; nil where nobody looks on or
// there is little to wait for.
func importBar(w io.Writer, size int64) *progressbar.ProgressBar {
	if size < bigFile || !isTerminal(w) {
		return nil
	}
	return progressbar.NewOptions64(size,
		progressbar.OptionSetWriter(w),
		progressbar.OptionSetDescription("reading"),
		progressbar.OptionSetWidth(30),
		progressbar.OptionShowBytes(true),
		progressbar.OptionThrottle(100*time.Millisecond),
		progressbar.OptionClearOnFinish(),
	)
}

func printSummary(w io.Writer, name string, s ingest.Summary) error {
	_, err := fmt.Fprintf(w, "%s: %d rows, %d stored, %d refused%s; of those stored, %d set aside%s\n",
		name, s.Rows, s.Stored, s.Rows-s.Stored, reasons(s.Rejected), total(s.SetAside), reasons(s.SetAside))
	return err
}

func total(counts map[string]int) (sum int) {
	for _, n := range counts {
		sum += n
	}
	return sum
}

// reasons lists counts by reason in brackets; nothing where there are none.
func reasons(counts map[string]int) string {
	if len(counts) == 0 {
		return ""
	}
	var parts []string
	for _, reason := range slices.Sorted(maps.Keys(counts)) {
		parts = append(parts, fmt.Sprintf("%d %s", counts[reason], strings.ReplaceAll(reason, "_", " ")))
	}
	return " (" + strings.Join(parts, ", ") + ")"
}
