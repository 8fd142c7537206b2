package export

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"parstead/cmd/parstead/cells"
	"parstead/light"
	"parstead/store"
)

// logFile is the trial's log in an export.
const logFile = "log.csv"

// logRow is an entry of the log; withdrawn tells whether a later one takes it back.
type logRow struct {
	light.Event
	withdrawn bool
}

var logColumns = []column[*logRow]{
	text("id", "the entry's number", "log", func(r *logRow) string { return idCell(r.ID) }),
	instant("at", "when it happened", "grower, or the program", func(r *logRow) time.Time { return r.At }),
	instant("written", "when it was entered", "log", func(r *logRow) time.Time { return r.Written }),
	text("kind", "what it is about", "grower, or the program", func(r *logRow) string { return string(r.Kind) }),
	text("bin", "the bin it concerns; empty for the whole rack", "grower", func(r *logRow) string { return r.Bin }),
	text("plant", "the plant it concerns", "grower", func(r *logRow) string { return noFormula(r.Plant) }),
	text("sensor", "the sensor it concerns", "grower", func(r *logRow) string { return r.Sensor }),
	instant("from", "where an ignored, timed or muted stretch begins", "grower", func(r *logRow) time.Time { return r.During.From }),
	instant("until", "where it ends", "grower", func(r *logRow) time.Time { return r.During.Until }),
	text("text", "what was written; behind an apostrophe where a spreadsheet program would take it for a formula", "grower, or the program", func(r *logRow) string { return noFormula(r.Text) }),
	text("withdraws", "the entry that this one takes back", "grower", func(r *logRow) string { return idCell(r.Withdraws) }),
	text("withdrawn", "yes: a later entry takes it back", "computed", func(r *logRow) string { return yesCell(r.withdrawn) }),
	text("data", "what the program itself keeps in an entry, JSON", "the program", func(r *logRow) string { return string(r.Data) }),
}

func idCell(id uint64) string {
	if id == 0 {
		return ""
	}
	return strconv.FormatUint(id, 10)
}

func (x *exporter) log(ctx context.Context) error {
	events, err := x.view.Events(ctx)
	if err != nil {
		return err
	}
	rows := make([]logRow, len(events))
	for i, e := range light.Entries(events) {
		rows[i] = logRow{events[i], e.Withdrawn}
	}
	return writeSheet(x, logFile, "the trial's log, in the order of writing", logColumns, each(rows))
}

// noFormula keeps a spreadsheet program from acting on a text that somebody may
// have typed at the page.
func noFormula(text string) string {
	if isFormula(text) {
		return "'" + text
	}
	return text
}

// isFormula tells whether a spreadsheet program would take a text for a formula, were
// it not for the apostrophes before it.
func isFormula(text string) bool {
	text = strings.TrimLeft(text, "'")
	return text != "" && strings.ContainsRune("=+-@", rune(text[0]))
}

// asTyped takes back what noFormula did.
func asTyped(cell string) string {
	if isFormula(cell) {
		return strings.TrimPrefix(cell, "'")
	}
	return cell
}

// IsLog tells by a file's headings whether it is the log of an export.
func IsLog(headings []string) bool {
	return len(headings) >= len(logColumns) && !slices.ContainsFunc(logColumns, func(c column[*logRow]) bool { return !slices.Contains(headings, c.Name) })
}

// ReadLog reads the entries of an exported log behind its headings, in order.
func ReadLog(name string, headings []string, rows cells.Logger) ([]light.Event, error) {
	at := map[string]int{}
	for i, h := range headings {
		at[h] = i
	}
	var log []light.Event
	for {
		row, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return log, nil
		}
		if err != nil {
			return nil, err
		}
		line, _ := rows.Place(0)
		if len(row) != len(headings) {
			return nil, fmt.Errorf("%s, line %d: the row has %d cells and the heading %d: export the trial again", name, line, len(row), len(headings))
		}
		e, err := readEntry(func(column string) string { return row[at[column]] })
		if err == nil && e.ID != uint64(len(log)+1) {
			err = fmt.Errorf("its number is %d and %d is due: a log is imported as a whole", e.ID, len(log)+1)
		}
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: %w: export the trial again", name, line, err)
		}
		log = append(log, e)
	}
}

// readEntry reads a row of the log.
func readEntry(of func(column string) string) (e light.Event, err error) {
	e = light.Event{
		Kind: light.Kind(of("kind")), Bin: strings.Clone(of("bin")), Plant: strings.Clone(asTyped(of("plant"))),
		Sensor: strings.Clone(of("sensor")), Text: strings.Clone(asTyped(of("text"))),
	}
	if !e.Kind.Known() {
		return e, fmt.Errorf("no entry is of the kind %q", e.Kind)
	}
	for column, into := range map[string]*uint64{"id": &e.ID, "withdraws": &e.Withdraws} {
		if cell := of(column); cell != "" {
			if *into, err = strconv.ParseUint(cell, 10, 64); err != nil {
				return e, fmt.Errorf("%s %q is not the number of an entry", column, cell)
			}
		}
	}
	for column, into := range map[string]*time.Time{"at": &e.At, "written": &e.Written, "from": &e.During.From, "until": &e.During.Until} {
		if cell := of(column); cell != "" {
			if *into, err = time.Parse(time.RFC3339Nano, cell); err != nil {
				return e, fmt.Errorf("%s %q is not a time", column, cell)
			}
		}
	}
	if e.At.IsZero() || e.Written.IsZero() {
		return e, errors.New("it has no time")
	}
	if data := of("data"); data != "" {
		e.Data = []byte(data)
	}
	if e.Kind == light.ClockStepped { // exported readings have their true time already
		e.Data = store.ClockStep(math.MaxUint32, 0, 0)
	}
	return e, nil
}

// PutLog writes entries into the log of a folder that has none, and returns how many
// were new. What stands there must be the same entries' beginning.
func PutLog(ctx context.Context, folder string, o store.Options, log []light.Event) (n int, err error) {
	view, err := store.OpenFolder(ctx, folder)
	if err != nil {
		return 0, err
	}
	have, err := view.Events(ctx)
	if err = errors.Join(err, view.Close()); err != nil {
		return 0, err
	}
	for i, e := range have {
		if i >= len(log) || !sameEntry(e, log[i]) {
			return 0, fmt.Errorf("the folder's log has entries of its own (%d: %s): a log is imported into a folder that has none, before anything is noted and the daemon runs", e.ID, e.Kind)
		}
	}
	if len(have) == len(log) {
		return 0, nil
	}
	writer, err := store.OpenWriter(ctx, folder, o)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, writer.Close()) }()
	for _, e := range log[len(have):] {
		if _, err := writer.AddEvent(ctx, e); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

func sameEntry(a, b light.Event) bool {
	return a.ID == b.ID && a.Kind == b.Kind && a.At.Equal(b.At) && a.Written.Equal(b.Written) && a.Text == b.Text && a.Withdraws == b.Withdraws
}
