package ingest

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"parstead/light"
)

// Summary tells what became of an import's rows.
type Summary struct {
	Rows     int            `json:"rows"`
	Stored   int            `json:"stored"`
	Rejected map[string]int `json:"rejected"`  // by reason
	SetAside map[string]int `json:"set_aside"` // stored but not used, by reason
}

func (s *Summary) reject(reason string) {
	if s != nil {
		s.Rejected[reason]++
	}
}

func (s *Summary) store(reason string) {
	if s == nil {
		return
	}
	s.Stored++
	if reason != "" {
		s.SetAside[reason]++
	}
}

// row is one reading of a logger's file: small, because a file is read to its
// end before anything of it is written.
type row struct {
	sensor int32 // index into the names met so far
	at     int64 // Unix nanoseconds
	value  float64
}

// importGroup is how many rows are committed at once.
const importGroup = 10000

// Rows is a logger's file, told apart into cells: the headings first.
type Rows interface {
	// Read gives the next row, io.EOF behind the last one. The cells hold until the
	// next Read.
	Read() ([]string, error)
	// Place is the line and the column of a cell of that row, for messages.
	Place(cell int) (line, column int)
	// DecimalComma tells whether a comma may stand for a number's point.
	DecimalComma() bool
}

// Import takes in a logger's file: a table with the columns time, sensor and
// value (raw). Times are RFC 3339, or
// local ones of the zone like 2026-07-21 14:05:30. An unknown sensor or a bad
// row is an error that names the place, and nothing is written. Readings that
// are refused by judgement are counted, the rest is stored. It works whether the
// intake runs or not.
func (in *Intake) Import(ctx context.Context, name string, file Rows, zone *time.Location) (Summary, error) {
	sum := Summary{Rejected: map[string]int{}, SetAside: map[string]int{}}
	feeds := in.routes.Load()
	table := table{file: name, rows: file, zone: zone, feeds: feeds, seen: map[string]int32{}}
	rows, err := table.read()
	if err != nil {
		return sum, err
	}
	sum.Rows = len(rows)
	moment := in.look()
	for some := range slices.Chunk(rows, importGroup) {
		if err := ctx.Err(); err != nil {
			return sum, fmt.Errorf("%s: stopped after %d of %d rows were stored; import it again, what is stored is not stored twice: %w", name, sum.Stored, sum.Rows, err)
		}
		g := in.judge(table.streams, some, moment, &sum)
		if err := in.commit(ctx, &g, &sum); err != nil {
			return sum, fmt.Errorf("%s: %d of %d rows are stored; import it again, what is stored is not stored twice: %w", name, sum.Stored, sum.Rows, err)
		}
	}
	return sum, nil
}

// judge makes a group of the rows that are not refused.
func (in *Intake) judge(streams []*stream, rows []row, moment stamp, sum *Summary) group {
	var g group
	refuse := func(sensor, reason string) {
		in.metrics.rejected.WithLabelValues(sensor, reason).Inc()
		sum.reject(reason)
	}
	for _, r := range rows {
		own := time.Unix(0, r.at).UTC()
		e := streams[r.sensor].entryAt(own)
		switch {
		case math.IsNaN(r.value):
			refuse(e.sensor.name, NoNumber)
		case in.impossible(own, moment.now):
			refuse(e.sensor.name, ImpossibleTime)
		default:
			g.arrivals = append(g.arrivals, arrival{sensor: e.sensor, entry: e, reading: light.Reading{
				Sensor: e.sensor.name, At: own, Value: r.value, Mark: light.OwnTime,
				Arrived: moment.now.Truncate(time.Second).UTC(), Boot: in.Boot, Uptime: moment.uptime.Truncate(time.Second),
			}})
		}
	}
	return g
}

// table reads a logger's file.
type table struct {
	file  string
	zone  *time.Location
	feeds *routes

	rows                Rows
	time, sensor, value int // columns
	seen                map[string]int32
	streams             []*stream
	passed              []int64 // latest time of each sensor so far
}

// at places an error at a cell.
func (t *table) at(column int, format string, args ...any) error {
	line, at := t.rows.Place(column)
	return fmt.Errorf("%s, line %d, column %d: %w", t.file, line, at, fmt.Errorf(format, args...))
}

func (t *table) read() ([]row, error) {
	width, err := t.header()
	if err != nil {
		return nil, err
	}
	var rows []row
	for {
		cells, err := t.rows.Read()
		switch {
		case errors.Is(err, io.EOF):
			return rows, nil
		case err != nil:
			return nil, err
		case len(cells) != width:
			return nil, t.at(0, "the row has %d cells and the header another number: a decimal comma needs ; or tabs between the columns", len(cells))
		}
		one, err := t.row(cells)
		if err != nil {
			return nil, err
		}
		rows = append(rows, one)
	}
}

// header finds the columns, and how many cells a row has.
func (t *table) header() (width int, err error) {
	cells, err := t.rows.Read()
	if errors.Is(err, io.EOF) {
		return 0, fmt.Errorf("%s is empty: its first line must be time,sensor,value", t.file)
	}
	if err != nil {
		return 0, err
	}
	where := map[string]*int{"time": &t.time, "sensor": &t.sensor, "value": &t.value}
	for i, c := range cells {
		if !utf8.ValidString(c) {
			return 0, fmt.Errorf("%s, line 1: the heading is not UTF-8; save the file as CSV in UTF-8", t.file)
		}
		name := strings.ToLower(strings.TrimSpace(c))
		column := where[name]
		if column == nil {
			return 0, t.at(i, "no column %q is known here, or it is there twice: the columns are time, sensor and value", c)
		}
		*column = i
		delete(where, name)
	}
	for _, name := range []string{"time", "sensor", "value"} {
		if where[name] != nil {
			return 0, t.at(0, "the column %q is missing: the columns are time, sensor and value", name)
		}
	}
	return len(cells), nil
}

func (t *table) row(cells []string) (r row, err error) {
	name := strings.TrimSpace(cells[t.sensor])
	sensor, known := t.seen[name]
	if !known {
		stream := t.feeds.sensors[name]
		if stream == nil {
			return r, t.at(t.sensor, "no sensor is named %q: the trial has %s", name, namesOf(t.feeds.sensors))
		}
		name = strings.Clone(name) // the cell's memory is the whole row's
		sensor = int32(len(t.streams))
		t.seen[name] = sensor
		t.streams = append(t.streams, stream)
		t.passed = append(t.passed, math.MinInt64)
	}
	at, err := parseTime(strings.TrimSpace(cells[t.time]), t.zone, t.passed[sensor])
	if err != nil {
		return r, t.at(t.time, "%w", err)
	}
	t.passed[sensor] = max(t.passed[sensor], at)
	value, err := t.number(cells[t.value])
	return row{sensor, at, value}, err
}

// namesOf lists the sensors' names, or the first of many.
func namesOf(sensors map[string]*stream) string {
	const most = 8
	names := slices.Sorted(maps.Keys(sensors))
	if more := len(names) - most; more > 0 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), more)
	}
	return strings.Join(names, ", ")
}

// number reads a value; a blank cell and what loggers write in place of a
// measurement is not a number, and judged.
func (t *table) number(cell string) (float64, error) {
	s := strings.TrimSpace(cell)
	switch strings.ToLower(s) {
	case "", "nan", "inf", "+inf", "-inf", "null", "na":
		return math.NaN(), nil
	}
	if strings.Contains(s, ",") {
		if !t.rows.DecimalComma() {
			return 0, t.at(t.value, "%q has a decimal comma: put ; or tabs between the columns, or write it with a point", cell)
		}
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err := parseNumber(s)
	if err != nil {
		return 0, t.at(t.value, "%q is not a number: write it like 85.5", cell)
	}
	return v, nil
}

var localLayouts = []string{"2006-01-02 15:04:05", "2006-01-02 15:04"}

// parseTime reads RFC 3339, or a local time. Of a repeated hour it is the first
// passage, unless an earlier row (passed) is past that. The time is in Unix
// nanoseconds.
func parseTime(s string, zone *time.Location, passed int64) (int64, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		for _, layout := range localLayouts {
			if t, err = time.Parse(layout, s); err == nil {
				t, err = localTime(t, zone, passed)
				break
			}
		}
		if err != nil && t.IsZero() {
			return 0, fmt.Errorf("%q is not a time: write it like 2026-07-21T14:05:30Z, or 2026-07-21 14:05:30 for local time", s)
		}
	}
	if err != nil {
		return 0, err
	}
	if t.Year() < 1700 || t.Year() > 2200 {
		return 0, fmt.Errorf("%q: the year can't be right", s)
	}
	return t.UnixNano(), nil
}

// localTime is the instant at which clocks in the zone show what t shows in UTC.
func localTime(t time.Time, zone *time.Location, passed int64) (time.Time, error) {
	passages := light.LocalTimes(t, zone)
	if len(passages) == 0 {
		return t, fmt.Errorf("clocks in %s never show %s: they were put forward over it; write the time with its offset, like 2026-07-21T14:05:30Z", zone, t.Format(localLayouts[0]))
	}
	if len(passages) > 1 && passages[0].UnixNano() < passed {
		return passages[1], nil
	}
	return passages[0], nil
}
