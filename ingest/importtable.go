package ingest

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"parstead/light"
)

// table reads a logger's file.
type table struct {
	ImportOptions
	file  string
	feeds *routes

	rows          Rows
	headings      []string
	time          []int // columns, to be joined by a blank
	sensor, value int   // columns of a long file; sensor is −1 in a wide one
	wide          []wideColumn
	needed        int // of a row's cells, so many have to be there
	ignored       []string
	seen          map[string]int32
	streams       []*stream
	passed        []int64 // latest time of each sensor so far
}

// wideColumn is a column that holds one sensor's values.
type wideColumn struct {
	column int
	sensor int32
}

// at places an error at a cell.
func (t *table) at(column int, format string, args ...any) error {
	line, at := t.rows.Place(column)
	return fmt.Errorf("%s, line %d, column %d: %w", t.file, line, at, fmt.Errorf(format, args...))
}

func (t *table) read() ([]row, error) {
	if err := t.header(); err != nil {
		return nil, err
	}
	var rows []row
	for {
		cells, err := t.rows.Read()
		if errors.Is(err, io.EOF) {
			return rows, nil
		}
		if err == nil {
			err = t.wellCut(cells)
		}
		if err == nil {
			if len(rows) == 0 {
				t.settleTime(cells)
			}
			rows, err = t.row(rows, cells)
		}
		if err != nil {
			return nil, err
		}
	}
}

// wellCut looks whether a row's cells stand under the headings. Blank cells behind
// the last heading are what a separator at the end of the line makes.
func (t *table) wellCut(cells []string) error {
	spare := cells[min(len(t.headings), len(cells)):]
	if len(cells) < t.needed || slices.ContainsFunc(spare, func(c string) bool { return strings.TrimSpace(c) != "" }) {
		return t.at(0, "the row has %d cells and the header %d: a decimal comma needs ; or tabs between the columns", len(cells), len(t.headings))
	}
	return nil
}

// header finds the columns.
func (t *table) header() error {
	cells, err := t.rows.Read()
	if errors.Is(err, io.EOF) {
		return fmt.Errorf("%s is empty: its first line must be headings, like time,sensor,value", t.file)
	}
	if err != nil {
		return err
	}
	for _, c := range cells {
		if !utf8.ValidString(c) {
			line, _ := t.rows.Place(0)
			return fmt.Errorf("%s, line %d: the heading is not UTF-8; save the file as CSV in UTF-8", t.file, line)
		}
		t.headings = append(t.headings, strings.Clone(strings.TrimSpace(c))) // the cell's memory is the whole row's
	}
	if err := t.findTime(); err != nil {
		return err
	}
	sensor, value := t.named("sensor"), t.named("value")
	if len(sensor)+len(value) == 0 || len(t.Columns) > 0 {
		t.sensor = -1
		err = t.findSensors()
	} else {
		t.sensor, err = t.one("sensor")
		if err == nil {
			t.value, err = t.one("value")
		}
	}
	if err != nil {
		return err
	}
	used := slices.Clone(t.time)
	if t.sensor >= 0 {
		used = append(used, t.sensor, t.value)
	}
	t.needed = slices.Max(used) + 1
	for _, w := range t.wide {
		used = append(used, w.column)
	}
	for i, h := range t.headings {
		if !slices.Contains(used, i) && h != "" {
			t.ignored = append(t.ignored, h)
		}
	}
	return nil
}

// named lists the columns of a heading, without regard to case.
func (t *table) named(heading string) (columns []int) {
	for i, h := range t.headings {
		if strings.EqualFold(h, strings.TrimSpace(heading)) {
			columns = append(columns, i)
		}
	}
	return columns
}

// one is the only column of a heading.
func (t *table) one(heading string) (int, error) {
	switch columns := t.named(heading); len(columns) {
	case 1:
		return columns[0], nil
	case 0:
		return 0, t.at(0, "the column %q is missing: the headings read here are %s; name others with --time and --column, leave out lines above the headings with --skip", heading, t.listed())
	default:
		return 0, t.at(columns[1], "the column %q is there twice: rename one", heading)
	}
}

// listed is the headings, for a message.
func (t *table) listed() string {
	const most = 12
	if len(t.headings) <= most {
		return strings.Join(t.headings, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(t.headings[:most], ", "), len(t.headings)-most)
}

// timeHeadings are what the column of the time may be called, the likeliest first;
// two are the day and the time of day.
var timeHeadings = [][]string{{"date", "time"}, {"time"}, {"timestamp"}, {"datetime"}, {"date time"}, {"date/time"}, {"date"}}

// findTime finds the columns of the time.
func (t *table) findTime() error {
	wanted := t.Time
	for i := 0; len(wanted) == 0 && i < len(timeHeadings); i++ {
		if !slices.ContainsFunc(timeHeadings[i], func(h string) bool { return len(t.named(h)) == 0 }) {
			wanted = timeHeadings[i]
		}
	}
	if len(wanted) == 0 {
		wanted = []string{"time"}
	}
	for _, h := range wanted {
		column, err := t.one(h)
		if err != nil {
			return err
		}
		t.time = append(t.time, column)
	}
	return nil
}

// settleTime takes the second of two columns alone where it holds the whole time.
func (t *table) settleTime(cells []string) {
	if len(t.time) < 2 || len(t.Time) > 0 {
		return
	}
	if w, err := light.ReadWritten(cells[t.time[1]], light.EitherOrder); err == nil && w.Timed {
		t.ignored = append(t.ignored, t.headings[t.time[0]])
		t.time = t.time[1:]
	}
}

// findSensors finds the columns of a wide file: those that Columns names, and those
// that are called like a sensor.
func (t *table) findSensors() error {
	for _, heading := range slices.Sorted(maps.Keys(t.Columns)) {
		column, err := t.one(heading)
		if err != nil {
			return err
		}
		sensor, ok := t.sensorOf(t.Columns[heading])
		if !ok {
			return t.at(column, "no sensor is named %q: the trial has %s", t.Columns[heading], namesOf(t.feeds.sensors))
		}
		t.wide = append(t.wide, wideColumn{column, sensor})
	}
	for i, h := range t.headings {
		if slices.ContainsFunc(t.wide, func(w wideColumn) bool { return w.column == i }) || slices.Contains(t.time, i) {
			continue
		}
		if sensor, ok := t.sensorOf(h); ok {
			t.wide = append(t.wide, wideColumn{i, sensor})
		}
	}
	if len(t.wide) == 0 {
		return t.at(0, "no column is called sensor, or like a sensor of the trial (%s): the headings read here are %s; tell with --column HEADING=SENSOR which is which, leave out lines above the headings with --skip",
			namesOf(t.feeds.sensors), t.listed())
	}
	slices.SortFunc(t.wide, func(a, b wideColumn) int { return a.column - b.column })
	for i, w := range t.wide {
		if slices.ContainsFunc(t.wide[:i], func(x wideColumn) bool { return x.sensor == w.sensor }) {
			return t.at(w.column, "two columns are of one sensor: leave one out of --column, or rename it")
		}
	}
	return nil
}

// sensorOf is the number of the sensor of a name; ok is false if the trial has none.
func (t *table) sensorOf(name string) (sensor int32, ok bool) {
	if sensor, ok = t.seen[name]; ok {
		return sensor, true
	}
	stream := t.feeds.sensors[name]
	if stream == nil {
		return 0, false
	}
	sensor = int32(len(t.streams))
	t.seen[strings.Clone(name)] = sensor // the cell's memory is the whole row's
	t.streams = append(t.streams, stream)
	t.passed = append(t.passed, math.MinInt64)
	return sensor, true
}

// row adds what a row holds. A blank cell of a wide file is no reading.
func (t *table) row(rows []row, cells []string) ([]row, error) {
	if t.sensor >= 0 {
		name := strings.TrimSpace(cells[t.sensor])
		sensor, ok := t.sensorOf(name)
		if !ok {
			return nil, t.at(t.sensor, "no sensor is named %q: the trial has %s", name, namesOf(t.feeds.sensors))
		}
		return t.reading(rows, cells, wideColumn{t.value, sensor})
	}
	for _, w := range t.wide {
		if w.column >= len(cells) || strings.TrimSpace(cells[w.column]) == "" {
			continue
		}
		var err error
		if rows, err = t.reading(rows, cells, w); err != nil {
			return nil, err
		}
	}
	return rows, nil
}

func (t *table) reading(rows []row, cells []string, w wideColumn) ([]row, error) {
	text := make([]string, 0, 2)
	for _, c := range t.time {
		text = append(text, strings.TrimSpace(cells[c]))
	}
	at, err := t.parseTime(strings.Join(text, " "), t.passed[w.sensor])
	if err != nil {
		return nil, t.at(t.time[0], "%w", err)
	}
	t.passed[w.sensor] = max(t.passed[w.sensor], at)
	value, err := t.number(cells[w.column], w.column)
	return append(rows, row{w.sensor, at, value}), err
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
func (t *table) number(cell string, column int) (float64, error) {
	s := strings.TrimSpace(cell)
	switch strings.ToLower(s) {
	case "", "nan", "inf", "+inf", "-inf", "null", "na", "n/a", "-", "--", "---":
		return math.NaN(), nil
	}
	if strings.Contains(s, ",") {
		if !t.rows.DecimalComma() {
			return 0, t.at(column, "%q has a decimal comma: put ; or tabs between the columns, or write it with a point", cell)
		}
		s = strings.Replace(s, ",", ".", 1)
	}
	v, err := parseNumber(s)
	if err != nil {
		return 0, t.at(column, "%q is not a number: write it like 85.5", cell)
	}
	return v, nil
}
