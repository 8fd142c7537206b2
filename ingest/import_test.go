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
			sum, err := in.Import(t.Context(), "logger.csv", rowsOf(text), lisbon(t))
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
		{"time,sensor,value,lux\n", `line 1, column 19: no column "lux"`},
		{"time,time,value\n", `line 1, column 6: no column "time" is known here, or it is there twice`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,c,1\n", `line 3, column 22: no sensor is named "c": the trial has a`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,one\n", `line 3, column 24: "one" is not a number`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,\"85,5\"\n", `line 3, column 24: "85,5" has a decimal comma`},
		{"time,sensor,value\n" + good + "2026-07-21T10:00:00Z,a,85,5\n", `line 3, column 1: the row has 4 cells`},
		{"time;sensor;value\n2026-07-21T10:00:00Z;a;1.085,5\n", `line 2, column 24: "1.085,5" is not a number`},
		{"time,sensor,value\n21/07/2026,a,1\n", `line 2, column 1: "21/07/2026" is not a time`},
		{"time,sensor,value\n2026-03-29 01:30,a,1\n", `line 2, column 1: clocks in Europe/Lisbon never show 2026-03-29 01:30:00`},
		{"time,sensor,value\n0026-03-29 01:30,a,1\n", `line 2, column 1: "0026-03-29 01:30": the year can't be right`},
		{"time,s\xffnsor,value\n" + good, `line 1: the heading is not UTF-8`},
	} {
		sink := &memory{}
		in, _ := prepare(t, sink, (&hands{now: noon}).clock(), chip("a", "a"))
		_, err := in.Import(t.Context(), "logger.csv", rowsOf(c.text), lisbon(t))
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
	if _, err := in.Import(t.Context(), "logger.csv", rowsOf(text), lisbon(t)); err != nil {
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
	sum, err := in.Import(t.Context(), "logger.csv", rowsOf(text.String()), time.UTC)
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
	zone := lisbon(f)
	f.Fuzz(func(t *testing.T, text string) {
		sink := &memory{}
		in, _ := prepare(t, sink, (&hands{now: noon}).clock(), chip("a", "a"))
		sum, err := in.Import(t.Context(), "x", rowsOf(text[:min(len(text), 1<<16)]), zone)
		rejected := 0
		for _, n := range sum.Rejected {
			rejected += n
		}
		if err != nil && len(sink.all()) > 0 || err == nil && sum.Stored+rejected != sum.Rows {
			t.Fatalf("%q: %+v, %v", text, sum, err)
		}
	})
}
