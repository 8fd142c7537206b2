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
	"text/tabwriter"
	"time"

	"github.com/schollz/progressbar/v3"

	"parstead/cmd/parstead/cells"
	"parstead/cmd/parstead/export"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"
	"parstead/store"
)

// importCmd takes readings in from a logger's file.
type importCmd struct {
	Folder     string   `arg:"" help:"The trial's folder."`
	File       string   `arg:"" help:"The logger's file; - for standard input."`
	DryRun     bool     `help:"Print the first readings as they are understood, and write nothing."`
	Column     []string `sep:"none" placeholder:"HEADING=SENSOR" help:"This column holds that sensor's values; once for each."`
	Time       []string `sep:"none" placeholder:"HEADING" help:"The column of the time; twice where day and time of day have one each."`
	TimeFormat string   `placeholder:"FORMAT" help:"How times are written: rfc3339, local, unix, unix_ms, day-first, month-first. Otherwise by their looks."`
	Skip       int      `placeholder:"LINES" help:"Lines of title above the headings, to be left out."`
	JSON       bool     `name:"json" help:"Print the counts as an object: rows, stored, rejected, set_aside, ignored."`
}

// Help is what import --help says beside its options.
func (importCmd) Help() string {
	return `FILE is a table, separated by commas, semicolons or tabs, or an .xlsx (its first
sheet). Either it is long, with the columns time, sensor and value; sensor: a
name of trial.toml. Or it is wide, with a time and a column a sensor: headings
that are sensors' names, or those that --column names. Other columns are ignored,
and named. Values are raw, as the sensor gave them; scale and offset are applied
when they are read.

Times: RFC 3339; 2026-07-21 14:05:30, with a blank or a T and without a zone, in
the trial's time zone; 21.07.2026 14:05 (points: day first); 07/21/2026 2:05 PM
(slashes or hyphens: where only one reading is possible, otherwise say day-first
or month-first); seconds or milliseconds since 1970.

The log.csv of an export is taken into the log of a folder that has none yet.

An unknown sensor or a row that can't be read: nothing is written. Readings that
are refused by judgement (seen before, an impossible time, no number) are
counted, the rest is stored. To import a file twice does no harm. A daemon may
run meanwhile.

Examples:
  parstead import mytrial logger.csv --dry-run
  parstead import mytrial wide.csv --skip 2 --time "Date" --time "Clock" \
      --column "CH1 (lx)=upper light" --column "CH2 (°C)=upper air"

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run reads the file to its end, then stores it.
func (c *importCmd) Run(e *env) error {
	how, err := c.options()
	if err != nil {
		return err
	}
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	how.Zone = t.Rack.Zone
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
	var log *int // entries of an exported log that are new; nil for a file of readings
	rows, err := cells.OpenLogger(name, file, c.Skip)
	if err == nil {
		var headings []string
		if headings, rows, err = cells.Headings(rows); err == nil && export.IsLog(headings) {
			log, err = c.putLog(e, name, headings, rows)
		} else if err == nil {
			sum, err = intake.Import(e.ctx, name, rows, how)
		}
	}
	if err = errors.Join(err, file.Close(), sink.Close()); err != nil {
		return err
	}
	if log != nil {
		return c.tellLog(e, name, *log)
	}
	if len(sum.Ignored) > 0 && !c.JSON {
		fmt.Fprintf(e.stderr, "%s: columns not read: %s\n", name, plain(strings.Join(sum.Ignored, ", ")))
	}
	switch {
	case c.JSON:
		return printJSON(e.stdout, sum)
	case c.DryRun:
		return printUnderstood(e.stdout, name, sum, t.Rack.Zone)
	}
	return printSummary(e.stdout, name, sum)
}

// putLog takes the log of an export in, and returns how many entries were new.
func (c *importCmd) putLog(e *env, name string, headings []string, rows cells.Logger) (*int, error) {
	_, err := rows.Read() // the headings again
	var log []light.Event
	if err == nil {
		log, err = export.ReadLog(name, headings, rows)
	}
	if err != nil {
		return nil, err
	}
	n := len(log)
	if !c.DryRun {
		n, err = export.PutLog(e.ctx, c.Folder, store.Options{Now: e.now}, log)
	}
	return &n, err
}

func (c *importCmd) tellLog(e *env, name string, entries int) error {
	if c.JSON {
		return printJSON(e.stdout, struct {
			Entries int `json:"entries"`
		}{entries})
	}
	says := "%s: %d entries written into the log\n"
	if c.DryRun {
		says = "%s: the log of an export, %d entries; nothing was written\n"
	}
	_, err := fmt.Fprintf(e.stdout, says, name, entries)
	return err
}

// options is how the command line has the file read.
func (c *importCmd) options() (ingest.ImportOptions, error) {
	how := ingest.ImportOptions{Time: c.Time, Written: c.TimeFormat, DryRun: c.DryRun, Columns: map[string]string{}}
	for _, x := range c.Column {
		i := strings.LastIndexByte(x, '=')
		heading, sensor := strings.TrimSpace(x[:max(i, 0)]), strings.TrimSpace(x[i+1:])
		if heading == "" || sensor == "" {
			return how, usageError{fmt.Sprintf("--column %q: write HEADING=SENSOR", x)}
		}
		if how.Columns[heading] != "" {
			return how, usageError{fmt.Sprintf("--column names %q twice", heading)}
		}
		how.Columns[heading] = sensor
	}
	if err := ingest.CheckWritten(c.TimeFormat); err != nil {
		return how, usageError{"--time-format: " + err.Error()}
	}
	if c.Skip < 0 {
		return how, usageError{fmt.Sprintf("--skip %d: give the number of lines above the headings", c.Skip)}
	}
	return how, nil
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

// printUnderstood shows the first readings as they were understood, and how much of
// each sensor there is.
func printUnderstood(w io.Writer, name string, s ingest.Summary, zone *time.Location) error {
	fmt.Fprintf(w, "%s as it is understood; nothing was written. Times in %s.\n\n", name, zone)
	local := func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04:05.999 -07:00") }
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, x := range s.First {
		fmt.Fprintf(table, "%s\t%s\t%v\t%s\n", local(x.Time), x.Sensor, x.Raw, x.Of.Measures.Words(x.Value))
	}
	if len(s.First) < s.Rows {
		fmt.Fprintln(table, "...")
	}
	if err := table.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	for _, x := range s.Sensors {
		fmt.Fprintf(w, "%s: %d readings, %s to %s\n", x.Sensor, x.Readings, local(x.From), local(x.Until))
	}
	_, err := fmt.Fprintf(w, "%d readings, %d to be refused%s; of the others %d to be set aside%s. What is\nstored already is told when they are imported.\n",
		s.Rows, s.Rows-s.Stored, reasons(s.Rejected), total(s.SetAside), reasons(s.SetAside))
	return err
}

func printSummary(w io.Writer, name string, s ingest.Summary) error {
	_, err := fmt.Fprintf(w, "%s: %d readings, %d stored, %d refused%s; of those stored, %d set aside%s\n",
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
