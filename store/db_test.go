package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/testutil"
	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

func TestLog(t *testing.T) {
	t.Parallel()
	db := open(t)
	moved := light.Event{
		At: start.Add(time.Hour), Written: start.Add(2 * time.Hour), Kind: light.LampMoved, Bin: "upper",
		Plant: "P1", Sensor: "s", During: light.Span{From: start}, Text: "10 cm up — \"über\"", Data: []byte{0, 255},
	}
	id, err := db.AddEvent(t.Context(), moved)
	if err != nil || id != 1 {
		t.Fatalf("id %d, %v", id, err)
	}
	if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.Withdrawn, Withdraws: 7}); err == nil || !strings.Contains(err.Error(), "no log entry 7") {
		t.Errorf("an entry withdrew what is not there: %v", err)
	}
	if _, err := db.AddEvent(t.Context(), light.Event{}); err == nil {
		t.Error("an entry without a kind was taken")
	}
	if id, err = db.AddEvent(t.Context(), light.Event{Kind: light.Withdrawn, Withdraws: 1}); err != nil || id != 2 {
		t.Fatalf("id %d, %v", id, err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	db = openAt(t, db.Path())
	s, err := db.View()
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close() //nolint:errcheck // a reading transaction
	got, err := s.Events(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	if got := db.LastEvent(); got != 2 {
		t.Errorf("the newest entry is %d, want 2", got)
	}
	moved.ID = 1
	want := []light.Event{moved, {ID: 2, At: start, Written: start, Kind: light.Withdrawn, Withdraws: 1}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// Each opening has a boot number of its own, and the file is its user's alone.
func TestOpening(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), FileName)
	for want := uint32(1); want <= 3; want++ {
		db, err := Open(path, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if db.Boot() != want {
			t.Errorf("boot %d, want %d", db.Boot(), want)
		}
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("mode %v, %v", info.Mode(), err)
		}
		if want == 1 { // it takes lockPatience
			_, err = Open(path, Options{})
			if !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), filepath.Dir(path)) {
				t.Errorf("a second opening: %v", err)
			}
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := db.Append(t.Context(), []light.Reading{own("a", 0, 1)}); !errors.Is(err, ErrClosed) {
			t.Errorf("after closing: %v", err)
		}
		if err := db.Close(); err != nil {
			t.Errorf("closing twice: %v", err)
		}
	}
}

// A damaged file is recognised and left byte for byte as it is.
func TestDamagedFile(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), FileName)
	db := openAt(t, path)
	for i := range 300 {
		mustAppend(t, db, own("a", time.Duration(i)*time.Minute, float64(i)), own("b", time.Duration(i)*time.Minute, 0.1))
	}
	if err := db.Pack(t.Context(), start.Add(150*time.Minute)); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	foreign := filepath.Join(t.TempDir(), "foreign")
	other, err := bolt.Open(foreign, 0o600, nil)
	if err != nil {
		t.Fatal(err)
	}
	err = other.Update(func(tx *bolt.Tx) error {
		_, err := tx.CreateBucket([]byte("things"))
		return err
	})
	if err := errors.Join(err, other.Close()); err != nil {
		t.Fatal(err)
	}
	for name, damage := range map[string]func([]byte) []byte{
		"another program's": func([]byte) []byte {
			b, err := os.ReadFile(foreign)
			if err != nil {
				t.Error(err)
			}
			return b
		},
		"no database":   func([]byte) []byte { return []byte(strings.Repeat("time,sensor,value\n", 1000)) },
		"too short":     func(b []byte) []byte { return b[:100] },
		"cut":           func(b []byte) []byte { return b[:3*4096] },
		"no head":       func(b []byte) []byte { clear(b[:2*4096]); return b },
		"pages of zero": func(b []byte) []byte { clear(b[2*4096:]); return b },
		"a bad group":   func(b []byte) []byte { return badRecords(b, kindGroup, recordVersion, 2) },
		"a bad block":   func(b []byte) []byte { return badRecords(b, kindBlock, recordVersion) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), FileName)
			damaged := damage([]byte(string(whole)))
			if err := os.WriteFile(path, damaged, 0o600); err != nil {
				t.Fatal(err)
			}
			if db, err := Open(path, Options{}); !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), path) {
				t.Errorf("opened: %v, %v", db != nil, err)
			}
			if s, err := OpenFolder(t.Context(), filepath.Dir(path)); err == nil {
				var got light.Series
				err = s.Series(t.Context(), "a", light.Span{}, &got)
				if !errors.Is(err, ErrDamaged) {
					t.Errorf("read: %v", err)
				}
				if err := s.Close(); err != nil {
					t.Error(err)
				}
			} else if !errors.Is(err, ErrDamaged) {
				t.Errorf("opened to be read: %v", err)
			}
			now, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			if string(now) != string(damaged) {
				t.Error("the damaged file was changed")
			}
		})
	}
}

// badRecords changes a byte in every record that begins so; freed pages hold
// older copies.
func badRecords(b []byte, head ...byte) []byte {
	for at := 0; ; {
		i := bytes.Index(b[at:], head)
		if i < 0 || at+i+12 >= len(b) {
			return b
		}
		b[at+i+12] ^= 1
		at += i + 1
	}
}

// A page that vanishes under an open database, as from a failing card, is an
// error for every reader and never ends the process.
func TestVanishedPages(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("a mapped file can't be cut there")
	}
	db := open(t)
	fill(t, db)
	s, err := db.View()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(db.Path(), int64(2*os.Getpagesize())); err != nil {
		t.Fatal(err)
	}
	for range 2 {
		var got light.Series
		if err := s.Series(t.Context(), "a", light.Span{}, &got); !errors.Is(err, ErrDamaged) {
			t.Errorf("read: %v", err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := db.View(); !errors.Is(err, ErrDamaged) {
		t.Errorf("looked: %v", err)
	}
	if _, err := db.Append(t.Context(), []light.Reading{own("a", 1e6*time.Second, 1)}); !errors.Is(err, ErrDamaged) {
		t.Errorf("appended: %v", err)
	}
	if err := db.Pack(t.Context(), start.Add(1e4*time.Hour)); err == nil {
		t.Error("packed")
	}
	if err := db.Backup(t.Context(), filepath.Join(t.TempDir(), "copy")); err == nil {
		t.Error("backed up")
	}
}

// A commit that fails keeps nothing and says so; after a full disk the store
// goes on, after a failed sync it takes nothing more until opened again.
func TestFailingCommit(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name  string
		fault error
		after func(*bolt.Tx) error // what happens on the disk
		goes  bool                 // whether the store goes on
		kept  bool                 // whether the group is there on opening again
	}{
		{"disk full", &os.PathError{Op: "write", Err: syscall.ENOSPC}, (*bolt.Tx).Rollback, true, false},
		{"write error", &os.PathError{Op: "write", Err: syscall.EIO}, (*bolt.Tx).Rollback, false, false},
		{"sync error", syscall.EIO, (*bolt.Tx).Commit, false, true},
	} {
		db := open(t)
		mustAppend(t, db, own("a", 0, 1))
		db.commit = func(tx *bolt.Tx) error {
			if err := c.after(tx); err != nil {
				t.Error(err)
			}
			return c.fault
		}
		group := []light.Reading{own("a", time.Minute, 2), own("new", 0, 3)}
		if _, err := db.Append(t.Context(), group); !errors.Is(err, c.fault) {
			t.Fatalf("%s: %v", c.name, err)
		} else if errors.Is(err, ErrFailed) == c.goes {
			t.Errorf("%s: ErrFailed is told wrongly: %v", c.name, err)
		}
		db.commit = (*bolt.Tx).Commit
		fates, err := db.Append(t.Context(), group)
		switch {
		case c.goes && (err != nil || fates[0] != light.Stored || fates[1] != light.Stored):
			t.Errorf("%s: the next append: %v, %v", c.name, fates, err)
		case !c.goes && !errors.Is(err, ErrFailed):
			t.Errorf("%s: the store went on: %v", c.name, err)
		}
		if got := series(t, db, "a", light.Span{}); got.Len() < 1 || got.Values[0] != 1 {
			t.Errorf("%s: it can't be read any more", c.name)
		}
		if err := db.Pack(t.Context(), start.Add(time.Hour)); (err == nil) != c.goes {
			t.Errorf("%s: packing: %v", c.name, err)
		}
		if err := db.Close(); err != nil {
			t.Fatal(err)
		}
		db = openAt(t, db.Path())
		want := light.Stored
		if c.kept || c.goes {
			want = light.Duplicate
		}
		if fates := mustAppend(t, db, group...); fates[0] != want || fates[1] != want {
			t.Errorf("%s: sent again after opening: %v", c.name, fates)
		}
	}
}

// The database reaches its largest size as a disk gets full: bbolt itself
// refuses, and the store goes on once there is room.
func TestDatabaseFull(t *testing.T) {
	t.Parallel()
	db := open(t)
	db.bolt.MaxSize = 1 << 17
	n := 0
	var err error
	group := make([]light.Reading, 500)
	for ; n < 1000; n++ {
		for i := range group {
			group[i] = own("a", time.Duration(n*len(group)+i)*time.Second, 0.1)
		}
		if _, err = db.Append(t.Context(), group); err != nil {
			break
		}
	}
	if err == nil {
		t.Fatal("it never got full")
	}
	db.bolt.MaxSize = 0
	mustAppend(t, db, group...)
	if got := series(t, db, "a", light.Span{}); got.Len() != (n+1)*len(group) {
		t.Errorf("%d readings, want %d", got.Len(), (n+1)*len(group))
	}
}

// A snapshot stays what it was while groups are added and packed; several
// goroutines may read it.
func TestSnapshotWhileAppending(t *testing.T) {
	t.Parallel()
	db := open(t)
	ctx, stop := context.WithCancel(t.Context())
	var writers sync.WaitGroup
	writers.Go(func() {
		for i := 0; ctx.Err() == nil; i++ {
			group := make([]light.Reading, 20)
			for j := range group {
				group[j] = own("a", time.Duration(i*20+j)*time.Minute, float64(i*20+j))
			}
			if _, err := db.Append(context.Background(), group); err != nil {
				t.Error(err)
			}
			if i%10 == 9 {
				if err := db.Pack(context.Background(), start.Add(1e6*time.Hour)); err != nil {
					t.Error(err)
				}
			}
		}
	})
	for seen := 0; seen < 100*20; {
		s, err := db.View()
		if err != nil {
			t.Fatal(err)
		}
		lengths := make([]int, 4)
		var readers sync.WaitGroup
		for i := range lengths {
			readers.Go(func() {
				var got light.Series
				if err := s.Series(context.Background(), "a", light.Span{}, &got); err != nil {
					t.Error(err)
				}
				for k, v := range got.Values {
					if v != float64(k) {
						t.Errorf("reading %d is %v", k, v)
						break
					}
				}
				lengths[i] = got.Len()
			})
		}
		readers.Wait()
		if lengths[0]%20 != 0 || lengths[1] != lengths[0] || lengths[2] != lengths[0] || lengths[3] != lengths[0] {
			t.Fatalf("one snapshot has lengths %v", lengths)
		}
		seen = lengths[0]
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		db.Latest()
		if _, err := db.Stats(); err != nil {
			t.Fatal(err)
		}
	}
	stop()
	writers.Wait()
}

func TestMetrics(t *testing.T) {
	t.Parallel()
	registry := prometheus.NewRegistry()
	db, err := Open(filepath.Join(t.TempDir(), FileName), Options{Registerer: registry})
	if err != nil {
		t.Fatal(err)
	}
	mustAppend(t, db, own("a", 0, 1))
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	problems, err := testutil.GatherAndLint(registry)
	if err != nil || len(problems) > 0 {
		t.Errorf("%v, %v", problems, err)
	}
	families, err := registry.Gather()
	if err != nil {
		t.Fatal(err)
	}
	if n := families[0].GetMetric()[0].GetHistogram().GetSampleCount(); families[0].GetName() != "parstead_store_commit_duration_seconds" || n != 2 {
		t.Errorf("%s counts %d commits, want the opening and the group", families[0].GetName(), n)
	}
}

// Each view sees the log as it was when the view was opened, whichever read it
// first.
func TestLogOfOlderViews(t *testing.T) {
	t.Parallel()
	db := open(t)
	var views []*Snapshot
	for i := range 5 {
		view, err := db.View()
		if err != nil {
			t.Fatal(err)
		}
		views = append(views, view)
		if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.Other, Text: fmt.Sprint(i)}); err != nil {
			t.Fatal(err)
		}
	}
	for i, view := range views {
		log, err := view.Events(t.Context())
		if err != nil || len(log) != i || i > 0 && log[i-1].Text != fmt.Sprint(i-1) {
			t.Errorf("view %d: %v %v", i, log, err)
		}
		if err := view.Close(); err != nil {
			t.Error(err)
		}
	}
	// One that began before and reads after another has read more.
	tx, err := db.bolt.Begin(false)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.AddEvent(t.Context(), light.Event{Kind: light.Other}); err != nil {
		t.Fatal(err)
	}
	later, err := db.View()
	if err != nil {
		t.Fatal(err)
	}
	log, err := db.entries.read(tx.Bucket(bucketLog))
	if err != nil || len(log) != 5 || len(later.log) != 6 {
		t.Errorf("%d and %d entries, %v", len(log), len(later.log), err)
	}
	if err := errors.Join(later.Close(), tx.Rollback()); err != nil {
		t.Error(err)
	}
}
