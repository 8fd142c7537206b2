package store

import (
	"context"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"parstead/light"
)

func TestMain(m *testing.M) {
	if childMain() {
		return
	}
	goleak.VerifyTestMain(m)
}

// start is when the tests' trials begin.
var start = time.Date(2026, 7, 21, 5, 0, 0, 0, time.UTC)

// open opens a database in a folder of its own.
func open(tb testing.TB) *DB {
	tb.Helper()
	return openAt(tb, filepath.Join(tb.TempDir(), FileName))
}

func openAt(tb testing.TB, path string) *DB {
	tb.Helper()
	db, err := Open(path, Options{Now: func() time.Time { return start }})
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := db.Close(); err != nil {
			tb.Error(err)
		}
	})
	return db
}

// own is a reading with its own time, offset from start.
func own(sensor string, after time.Duration, value float64) light.Reading {
	at := start.Add(after)
	return light.Reading{
		Sensor: sensor, At: at, Value: value, Mark: light.OwnTime,
		Arrived: at.Truncate(time.Second), Boot: 1, Uptime: after.Truncate(time.Second),
	}
}

// arrival is a reading dated by its arrival.
func arrival(sensor string, after time.Duration, value float64) light.Reading {
	r := own(sensor, after, value)
	r.Mark = 0
	return r
}

func mustAppend(tb testing.TB, w Writer, group ...light.Reading) []light.Fate {
	tb.Helper()
	fates, err := w.Append(tb.Context(), group)
	if err != nil {
		tb.Fatal(err)
	}
	return fates
}

// series reads one sensor's readings.
func series(tb testing.TB, db *DB, sensor string, during light.Span) light.Series {
	tb.Helper()
	s, err := db.View()
	if err != nil {
		tb.Fatal(err)
	}
	defer func() {
		if err := s.Close(); err != nil {
			tb.Error(err)
		}
	}()
	return seriesOf(tb, s, sensor, during)
}

func seriesOf(tb testing.TB, s light.Source, sensor string, during light.Span) light.Series {
	tb.Helper()
	var got light.Series
	if err := s.Series(context.Background(), sensor, during, &got); err != nil {
		tb.Fatal(err)
	}
	return got
}

func TestAppendAndRead(t *testing.T) {
	t.Parallel()
	db := open(t)
	for _, step := range []string{"loose", "packed", "reopened"} {
		t.Log(step)
		switch step {
		case "loose":
			mustAppend(t, db, own("a", 0, 1.5), own("b", time.Minute, -7), own("a", time.Minute, 2.25))
			mustAppend(t, db, own("a", 2*time.Minute, 1e300))
		case "packed":
			if err := db.Pack(t.Context(), start.Add(time.Hour)); err != nil {
				t.Fatal(err)
			}
		case "reopened":
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			db = openAt(t, db.Path())
		}
		want := light.Series{
			Times:  []int64{start.UnixNano(), start.Add(time.Minute).UnixNano(), start.Add(2 * time.Minute).UnixNano()},
			Values: []float64{1.5, 2.25, 1e300},
		}
		if diff := cmp.Diff(want, series(t, db, "a", light.Span{})); diff != "" {
			t.Error(diff)
		}
		part := light.Span{From: start.Add(time.Minute), Until: start.Add(2 * time.Minute)}
		want = light.Series{Times: want.Times[1:2], Values: want.Values[1:2]}
		if diff := cmp.Diff(want, series(t, db, "a", part)); diff != "" {
			t.Error(diff)
		}
		if got := series(t, db, "nobody", light.Span{}); got.Len() != 0 {
			t.Errorf("an unknown sensor has %d readings", got.Len())
		}
		stats, err := db.Stats()
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(map[string]uint64{"a": 3, "b": 1}, stats.Readings); diff != "" {
			t.Error(diff)
		}
		if r := db.Latest()["a"]; r.Value != 1e300 || !r.At.Equal(start.Add(2*time.Minute)) {
			t.Errorf("latest is %+v", r)
		}
	}
}
