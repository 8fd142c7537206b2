package ingest

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"parstead/light"
)

// Summary tells what became of an import's readings.
type Summary struct {
	Rows     int            `json:"rows"` // readings: in a wide file a row holds several
	Stored   int            `json:"stored"`
	Rejected map[string]int `json:"rejected"`  // by reason
	SetAside map[string]int `json:"set_aside"` // stored but not used, by reason
	Ignored  []string       `json:"ignored"`   // headings of columns that were not read
	First    []Understood   `json:"first,omitempty"`
	Sensors  []Extent       `json:"sensors,omitempty"`
}

// Understood is a reading as it was understood, for a preview.
type Understood struct {
	Time   time.Time    `json:"time"`
	Sensor string       `json:"sensor"`
	Raw    float64      `json:"raw"`
	Value  float64      `json:"value"` // after scale and offset
	Of     light.Sensor `json:"-"`
}

// Extent is how much of one sensor a file holds.
type Extent struct {
	Sensor   string    `json:"sensor"`
	Readings int       `json:"readings"`
	From     time.Time `json:"from"`
	Until    time.Time `json:"until"`
}

// ImportOptions say how a logger's file is to be read. The zero form: by its
// headings, times in UTC.
type ImportOptions struct {
	Zone    *time.Location    // of times without one
	Time    []string          // headings of the column, or the columns, of the time; nil: by their names
	Written string            // how times are written, one of WrittenForms; "": by their looks
	Columns map[string]string // of a wide file: heading to the sensor's name
	DryRun  bool              // read and judge, and write nothing: Summary tells what was understood
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

// Import takes in a logger's file: a table with the columns time, sensor and value
// (raw), or with a time and a column a sensor. An unknown sensor or a bad row is an
// error that names the place, and nothing is written. Readings that are refused by
// judgement are counted, the rest is stored. It works whether the intake runs or
// not.
func (in *Intake) Import(ctx context.Context, name string, file Rows, o ImportOptions) (Summary, error) {
	sum := Summary{Rejected: map[string]int{}, SetAside: map[string]int{}}
	table := table{file: name, rows: file, ImportOptions: o, feeds: in.routes.Load(), seen: map[string]int32{}}
	rows, err := table.read()
	if err != nil {
		return sum, err
	}
	sum.Rows, sum.Ignored = len(rows), table.ignored
	moment := in.look()
	if o.DryRun {
		table.preview(rows, &sum)
	}
	for some := range slices.Chunk(rows, importGroup) {
		if err := ctx.Err(); err != nil {
			return sum, fmt.Errorf("%s: stopped after %d of %d rows were stored; import it again, what is stored is not stored twice: %w", name, sum.Stored, sum.Rows, err)
		}
		g := in.judge(table.streams, some, moment, &sum)
		if o.DryRun {
			for i := range g.arrivals {
				sum.store(g.arrivals[i].setAside())
			}
			continue
		}
		if err := in.commit(ctx, &g, &sum); err != nil {
			return sum, fmt.Errorf("%s: %d of %d rows are stored; import it again, what is stored is not stored twice: %w", name, sum.Stored, sum.Rows, err)
		}
	}
	return sum, nil
}

// previewed is how many readings a preview shows.
const previewed = 6

// preview tells what was understood of the file.
func (t *table) preview(rows []row, sum *Summary) {
	sum.Sensors = make([]Extent, len(t.streams))
	for i, r := range rows {
		at := time.Unix(0, r.at).UTC()
		e := t.streams[r.sensor].entryAt(at)
		x := &sum.Sensors[r.sensor]
		if x.Readings++; x.Readings == 1 {
			x.Sensor, x.From, x.Until = e.feed.Sensor.Name, at, at
		}
		if at.Before(x.From) {
			x.From = at
		}
		if at.After(x.Until) {
			x.Until = at
		}
		if i < previewed {
			sum.First = append(sum.First, Understood{at, e.feed.Sensor.Name, r.value, e.feed.Sensor.Value(r.value), e.feed.Sensor})
		}
	}
	sum.Sensors = slices.DeleteFunc(sum.Sensors, func(x Extent) bool { return x.Readings == 0 })
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
