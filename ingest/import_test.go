package ingest

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
)

func lisbon(tb testing.TB) *time.Location {
	tb.Helper()
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		tb.Fatal(err)
	}
	return zone
}

// logged is a logger's file whose cells are told apart.
type logged struct{ *csv.Reader }

func rowsOf(text string) logged {
	text = strings.TrimPrefix(text, "\ufeff")
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = -1
	header, _, _ := strings.Cut(text, "\n")
	for _, c := range ";\t" {
		if strings.ContainsRune(header, c) {
			r.Comma = c
		}
	}
	return logged{r}
}

func (l logged) Place(cell int) (line, column int) { return l.FieldPos(cell) }
func (l logged) DecimalComma() bool                { return l.Comma != ',' }

func TestImport(t *testing.T) {
	t.Parallel()
	for name, text := range map[string]string{
		"commas":     "time,sensor,value\n2026-07-21T10:00:00Z,a,85.5\n2026-07-21 11:01,b,-1\n\n2026-07-21 11:02:30, a ,\n2026-07-21T10:00:00Z,a,85.5\n2026-07-21T10:00:00Z,a,86\n2027-01-01T00:00:00Z,a,1\n",
		"semicolons": "\ufeffTime ; VALUE;Sensor\r\n2026-07-21T10:00:00Z;85,5;a\r\n2026-07-21 11:01;-1;b\r\n2026-07-21 11:02:30;NaN;a\r\n2026-07-21T11:00:00+01:00;85.5;a\r\n2026-07-21T10:00:00Z;86;a\r\n2027-01-01T00:00:00Z;1;a",
		"tabs":       "sensor\ttime\tvalue\na\t2026-07-21T10:00:00Z\t85,5\n\"b\"\t2026-07-21 11:01\t-1\na\t2026-07-21 11:02:30\tinf\na\t2026-07-21T10:00:00Z\t85,50\na\t2026-07-21T10:00:00Z\t86\na\t2027-01-01T00:00:00Z\t1\n",
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			sink := &memory{}
			h := &hands{now: noon, uptime: time.Minute}
			in, _ := prepare(t, sink, h.clock(), chip("a", "a"), chip("b", "b"))
			sum, err := in.Import(t.Context(), "logger.csv", rowsOf(text), ImportOptions{Zone: lisbon(t)})
			if err != nil {
				t.Fatal(err)
			}
			want := Summary{
				Rows: 6, Stored: 3,
				Rejected: map[string]int{NoNumber: 1, Duplicate: 1, ImpossibleTime: 1},
				SetAside: map[string]int{Saturated: 1, Conflict: 1},
			}
			if diff := cmp.Diff(want, sum); diff != "" {
				t.Error(diff)
			}
			at := noon.Add(-2 * time.Hour)
			readings := []light.Reading{
				{Sensor: "a", At: at, Value: 85.5},
				{Sensor: "b", At: at.Add(time.Minute), Value: -1},
				{Sensor: "a", At: at, Value: 86},
			}
			for i := range readings {
				r := &readings[i]
				r.Mark, r.Arrived, r.Boot, r.Uptime = light.OwnTime, noon, 7, time.Minute
			}
			if diff := cmp.Diff(readings, sink.all()); diff != "" {
				t.Error(diff)
			}
		})
	}
}

func TestBadImportsWriteNothing(t *testing.T) {
	t.Parallel()
	good := "2026-07-21T10:00:00Z,a,1\n"
	for _, c := range []struct{ text, says string }{
		{"", "logger.csv is empty"},
		{"time,sensor\n", `logger.csv, line 1, column 1: the column "value" is missing`},
		{"time,time,value\n", `line 1, column 6: the column "time" is there twice`},
		{"time,lux,dark\n", `no column is called sensor, or like a sensor of the trial (a): the headings read here are time, lux, dark; tell with --column`},
		{"Logger 7\ntime,sensor,value\n", `line 1, column 1: the column "time" is missing: the headings read here are Logger 7; name others with --time and --column, leave out lines above the headings with --skip`},
		{"time,sensor,value\n03/04/2026 10:00,a,1\n", `line 2, column 1: "03/04/2026 10:00" can be read as 2026-03-04 or as 2026-04-03: say which with --time-format day-first or month-first`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,1,,2\n", `line 3, column 1: the row has 5 cells and the header 3`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a\n", `line 3, column 1: the row has 2 cells and the header 3`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,c,1\n", `line 3, column 22: no sensor is named "c": the trial has a`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,one\n", `line 3, column 24: "one" is not a number`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,\"85,5\"\n", `line 3, column 24: "85,5" has a decimal comma`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,85,5\n", `line 3, column 1: the row has 4 cells and the header 3: a decimal comma needs ; or tabs`},
		{"time;sensor;value\n2026-07-21T10:00:00Z;a;1.085,5\n", `line 2, column 24: "1.085,5" is not a number`},
		{"time,sensor,value\n21/07/2026,a,1\n", `line 2, column 1: "21/07/2026" is not a time`},
		{"time,sensor,value\n2026-03-29 01:30,a,1\n", `line 2, column 1: clocks in Europe/Lisbon never show 2026-03-29 01:30:00`},
		{"time,sensor,value\n0026-03-29 01:30,a,1\n", `line 2, column 1: "0026-03-29 01:30": the year can't be right`},
		{"time,s\xffnsor,value\n" + good, `line 1: the heading is not UTF-8`},
	} {
		sink := &memory{}
		in, _ := prepare(t, sink, (&hands{now: noon}).clock(), chip("a", "a"))
		_, err := in.Import(t.Context(), "logger.csv", rowsOf(c.text), ImportOptions{Zone: lisbon(t)})
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %q", c.text, err, c.says)
		}
		if len(sink.all()) > 0 {
			t.Errorf("%q: something was written", c.text)
		}
	}
}

func TestImportOverTheRepeatedHour(t *testing.T) {
	t.Parallel()
	// Lisbon put its clocks back on 2025-10-26 at 01:00 UTC, from 02:00 to 01:00
	// (IANA time zone database).
	text := "time,sensor,value\n"
	for _, clock := range []string{"00:30", "01:00", "01:30", "01:59", "01:00", "01:30", "02:00"} {
		text += "2025-10-26 " + clock + ",a,1\n"
	}
	text += "2025-10-26 01:10,b,1\n" // another sensor's rows have passed nothing
	sink := &memory{}
	in, _ := prepare(t, sink, (&hands{now: noon}).clock(), chip("a", "a"), chip("b", "b"))
	if _, err := in.Import(t.Context(), "logger.csv", rowsOf(text), ImportOptions{Zone: lisbon(t)}); err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range sink.all() {
		got = append(got, r.At.Format("02 15:04"))
	}
	want := []string{"25 23:30", "26 00:00", "26 00:30", "26 00:59", "26 01:00", "26 01:30", "26 02:00", "26 00:10"}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestImportThatFailsHalfwaySaysSo(t *testing.T) {
	t.Parallel()
	var text strings.Builder
	text.WriteString("time,sensor,value\n")
	for i := range importGroup + 1 {
		fmt.Fprintf(&text, "%s,a,%d\n", noon.Add(-time.Duration(i)*time.Second).Format(time.RFC3339), i)
	}
	sink := &failSecond{}
	in, _ := prepare(t, sink, (&hands{now: noon}).clock(), chip("a", "a"))
	sum, err := in.Import(t.Context(), "logger.csv", rowsOf(text.String()), ImportOptions{})
	if err == nil || !strings.Contains(err.Error(), "10000 of 10001 rows are stored") || sum.Stored != importGroup {
		t.Errorf("%+v, %v", sum, err)
	}
}

type failSecond struct{ memory }

func (s *failSecond) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	if s.commits() == 1 {
		return nil, errors.New("disk full")
	}
	return s.memory.Append(ctx, group)
}

func FuzzImport(f *testing.F) {
	f.Add("time,sensor,value\n2026-07-21T10:00:00Z,a,85.5\n")
	f.Add("time;sensor;value\n2025-10-26 01:30;a;85,5\n")
	f.Add("\ufeffvalue\ttime\tsensor\n1\t2026-03-29 01:30\ta\n")
	f.Add("time,sensor,value\n\"")
	f.Add("date;time;a;x\n21.07.2026;11:00;1,5;\n21/07/26;2:05 pm;2;\n")
	zone := lisbon(f)
	f.Fuzz(func(t *testing.T, text string) {
		sink := &memory{}
		in, _ := prepare(t, sink, (&hands{now: noon}).clock(), chip("a", "a"))
		sum, err := in.Import(t.Context(), "x", rowsOf(text[:min(len(text), 1<<16)]), ImportOptions{Zone: zone})
		rejected := 0
		for _, n := range sum.Rejected {
			rejected += n
		}
		if err != nil && len(sink.all()) > 0 || err == nil && sum.Stored+rejected != sum.Rows {
			t.Fatalf("%q: %+v, %v", text, sum, err)
		}
	})
}

// Files as loggers write them: common practice, no source. Lisbon is an hour ahead of
// UTC in July.
func TestFilesOfLoggers(t *testing.T) {
	t.Parallel()
	at := noon.Add(-2 * time.Hour)
	for name, c := range map[string]struct {
		text    string
		how     ImportOptions
		ignored []string
	}{
		"wide, by the sensors' names": {"time,a,battery,b\n2026-07-21 11:00,1,3.1,2\n2026-07-21 11:01,3,3.1,\n", ImportOptions{}, []string{"battery"}},
		"wide, by --column":           {"Nr;Clock;CH1 (lx);CH2 (lx);\n1;21.07.2026 11:00;1,0;2,0;\n2;21.07.2026 11:01:00;3;;\n", ImportOptions{Time: []string{"clock"}, Columns: map[string]string{"CH1 (lx)": "a", "ch2 (lx)": "b"}}, []string{"Nr"}},
		"day and time apart":          {"Date\tTime\ta\tb\n21/07/2026\t11:00:00\t1\t2\n21/07/2026\t11:01:00\t3\t\n", ImportOptions{}, nil},
		"a day beside the time":       {"date,time,a,b\n2026-07-21,2026-07-21 11:00,1,2\n2026-07-21,2026-07-21 11:01,3\n", ImportOptions{}, []string{"date"}},
		"T without a zone":            {"time,sensor,value\n2026-07-21T11:00:00,a,1\n2026-07-21T11:00:00,b,2\n2026-07-21T11:01:00.000,a,3\n", ImportOptions{}, nil},
		"spare columns":               {"id,time,sensor,unit,value,note\n1,2026-07-21T10:00:00Z,a,lx,1,x\n2,2026-07-21T10:00:00Z,b,lx,2,\n3,2026-07-21T10:01:00Z,a,lx,3,\n", ImportOptions{}, []string{"id", "unit", "note"}},
		"seconds":                     {"timestamp,a,b\n1784628000,1,2\n1784628060,3,\n", ImportOptions{}, nil},
		"milliseconds":                {"timestamp,a,b\n1784628000000,1,2\n1784628060000,3,\n", ImportOptions{Written: "unix_ms"}, nil},
		"month first":                 {"time,a,b\n07/21/2026 11:00:00 AM,1,2\n07/21/2026 11:01:00 AM,3,\n", ImportOptions{}, nil},
		"said to be day first":        {"time,a,b\n21/07/2026 11:00,1,2\n21/07/2026 11:01,3\n", ImportOptions{Written: "day-first"}, nil},
	} {
		sink := &memory{}
		h := &hands{now: noon, uptime: time.Minute}
		in, _ := prepare(t, sink, h.clock(), chip("a", "a"), chip("b", "b"))
		c.how.Zone = lisbon(t)
		dry := c.how
		dry.DryRun = true
		seen, err := in.Import(t.Context(), "logger.csv", rowsOf(c.text), dry)
		if err != nil || len(sink.all()) > 0 {
			t.Fatalf("%s: %v, %d written by a dry run", name, err, len(sink.all()))
		}
		sum, err := in.Import(t.Context(), "logger.csv", rowsOf(c.text), c.how)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		var got []string
		for i, r := range sink.all() {
			got = append(got, fmt.Sprintf("%s %s %v", r.At.Sub(at), r.Sensor, r.Value))
			if x := seen.First[i]; !x.Time.Equal(r.At) || x.Sensor != r.Sensor || x.Raw != r.Value {
				t.Errorf("%s: understood as %+v, stored as %+v", name, x, r)
			}
		}
		if diff := cmp.Diff([]string{"0s a 1", "0s b 2", "1m0s a 3"}, got); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
		if diff := cmp.Diff(c.ignored, sum.Ignored); diff != "" || sum.Stored != 3 || seen.Stored != 3 {
			t.Errorf("%s: ignored %s, %+v", name, diff, sum)
		}
		if diff := cmp.Diff([]Extent{{"a", 2, at, at.Add(time.Minute)}, {"b", 1, at, at}}, seen.Sensors); diff != "" {
			t.Errorf("%s: %s", name, diff)
		}
	}
}

// What can't be meant of columns is told.
func TestColumnsThatCantBeMeant(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		text string
		how  ImportOptions
		says string
	}{
		{"time,x\n", ImportOptions{Columns: map[string]string{"y": "a"}}, `the column "y" is missing: the headings read here are time, x`},
		{"time,x\n", ImportOptions{Columns: map[string]string{"x": "c"}}, `line 1, column 6: no sensor is named "c": the trial has a`},
		{"time,x,a\n", ImportOptions{Columns: map[string]string{"x": "a"}}, "two columns are of one sensor"},
		{"at,a\n", ImportOptions{}, `the column "time" is missing`},
		{"time,a\n1784628000,1\n", ImportOptions{Written: "rfc3339"}, `line 2, column 1: "1784628000" is not a time as --time-format rfc3339 has it`},
		{"time,a\n2026-07-21,1\n", ImportOptions{}, `"2026-07-21" is not a time`},
	} {
		in, _ := prepare(t, &memory{}, (&hands{now: noon}).clock(), chip("a", "a"))
		_, err := in.Import(t.Context(), "logger.csv", rowsOf(c.text), c.how)
		if err == nil || !strings.Contains(err.Error(), c.says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %q", c.text, err, c.says)
		}
	}
}
