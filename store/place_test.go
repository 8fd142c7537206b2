package store

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// move is os.Rename, which the test can't do without.
func move(t *testing.T, from, to string) {
	t.Helper()
	if err := os.Rename(from, to); err != nil {
		t.Fatal(err)
	}
}

// writeOver copies a file into another, as cp does.
func writeOver(path, other string) error {
	b, err := os.ReadFile(other)
	if err != nil {
		return err
	}
	return os.WriteFile(path, b, 0o600)
}

func read(t *testing.T, path string) []byte {
	t.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// What lies at the database's path is looked at before and after each write, and
// in between: nothing is kept in a file that nobody would find, and nothing is
// written into another one.
func TestADatabaseThatIsTakenAway(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("an open file can't be removed, renamed or cut there")
	}
	for name, c := range map[string]struct {
		take func(path, other string) error
		says string
		held bool
	}{
		"removed":       {func(path, _ string) error { return os.Remove(path) }, "was removed", true},
		"moved away":    {func(path, _ string) error { return os.Rename(path, path+".away") }, "was removed", true},
		"replaced":      {func(path, other string) error { return os.Rename(other, path) }, "was replaced", true},
		"restored over": {writeOver, "was written over", false},
		"cut":           {func(path, _ string) error { return os.Truncate(path, int64(2*os.Getpagesize())) }, "was written over", false},
		"emptied":       {func(path, _ string) error { return os.Truncate(path, 0) }, "was written over", false},
	} {
		for _, lookFirst := range []bool{true, false} {
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				db := open(t)
				fill(t, db)
				other := open(t)
				mustAppend(t, other, own("b", 0, 1))
				if err := other.Close(); err != nil {
					t.Fatal(err)
				}
				if err := db.InPlace(); err != nil {
					t.Fatalf("before: %v", err)
				}
				want := contentsOf(t, db)
				if err := c.take(db.Path(), other.Path()); err != nil {
					t.Fatal(err)
				}
				there, statErr := os.Stat(db.Path())

				says := func(err error) {
					t.Helper()
					var d *DisplacedError
					if !errors.As(err, &d) || d.Held != c.held || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), db.Path()) {
						t.Errorf("it says: %v", err)
					}
				}
				if lookFirst {
					says(db.InPlace())
				}
				_, err := db.Append(t.Context(), []light.Reading{own("a", 1e6*time.Second, 1)})
				says(err)
				_, err = db.AddEvent(t.Context(), light.Event{Kind: light.LampMoved})
				says(err)
				says(db.Pack(t.Context(), start.Add(1e4*time.Hour)))
				says(db.InPlace())
				if statErr == nil {
					if now, err := os.Stat(db.Path()); err != nil || now.Size() != there.Size() || !now.ModTime().Equal(there.ModTime()) {
						t.Errorf("what lies there was written to: %v", err)
					}
				}
				copied := filepath.Join(t.TempDir(), FileName)
				err = db.Backup(t.Context(), copied)
				if !c.held {
					says(err)
					return
				}
				if err != nil {
					t.Fatal(err)
				}
				if diff := cmp.Diff(want, contentsOf(t, openAt(t, copied))); diff != "" {
					t.Errorf("what was still held: %s", diff)
				}
			})
		}
	}
}

// A file that comes back to its place is as good as before.
func TestADatabaseThatComesBack(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("an open file can't be renamed there")
	}
	db := open(t)
	mustAppend(t, db, own("a", 0, 1))
	move(t, db.Path(), db.Path()+".away")
	if _, err := db.Append(t.Context(), []light.Reading{own("a", time.Minute, 2)}); err == nil {
		t.Fatal("taken without a file")
	}
	move(t, db.Path()+".away", db.Path())
	mustAppend(t, db, own("a", time.Minute, 2))
	if err := db.InPlace(); err != nil {
		t.Error(err)
	}
	if got := db.Latest()["a"]; got.Value != 2 {
		t.Errorf("the newest is %v", got)
	}
}

// The file goes while a write is under way: the write says so.
func TestADatabaseThatGoesMeanwhile(t *testing.T) {
	t.Parallel()
	if runtime.GOOS == "windows" {
		t.Skip("an open file can't be removed there")
	}
	db := open(t)
	commit := db.commit
	db.commit = func(tx *bolt.Tx) error {
		if err := os.Remove(db.Path()); err != nil {
			t.Error(err)
		}
		return commit(tx)
	}
	if _, err := db.Append(t.Context(), []light.Reading{own("a", 0, 1)}); err == nil {
		t.Error("a reading was taken into a file that nobody finds")
	}
}

// A database that was there and is not, or is empty, is not begun anew in silence,
// neither to be written to nor to be read.
func TestADatabaseThatWasThere(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		lose func(path string) error
		want error
		says string
	}{
		"empty":   {func(path string) error { return os.Truncate(path, 0) }, ErrDamaged, "(0 bytes)"},
		"missing": {os.Remove, ErrMissing, "readings.begun"},
		"empty, of an older version": {func(path string) error {
			return errors.Join(os.Truncate(path, 0), os.Remove(filepath.Join(filepath.Dir(path), "readings.begun")))
		}, ErrDamaged, "(0 bytes)"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			path := filepath.Join(t.TempDir(), FileName)
			db := openAt(t, path)
			mustAppend(t, db, own("a", 0, 1))
			if err := db.Close(); err != nil {
				t.Fatal(err)
			}
			if err := c.lose(path); err != nil {
				t.Fatal(err)
			}
			before, _ := os.Stat(path)
			_, opened := Open(path, Options{})
			_, looked := OpenFolder(t.Context(), filepath.Dir(path))
			copied := Backup(t.Context(), filepath.Dir(path), filepath.Join(t.TempDir(), "copy"))
			for what, err := range map[string]error{"opened": opened, "looked": looked, "copied": copied} {
				if !errors.Is(err, c.want) || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), path) ||
					!strings.Contains(err.Error(), "parstead restore") || strings.Contains(err.Error(), "\n") {
					t.Errorf("%s: %v", what, err)
				}
			}
			if after, _ := os.Stat(path); (before == nil) != (after == nil) || after != nil && after.Size() != 0 {
				t.Error("it was begun anew")
			}
		})
	}
}

// A kill while a database is made leaves none, never a part of one.
func TestADatabaseIsMadeWhole(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), FileName)
	if err := create(path); err != nil {
		t.Fatal(err)
	}
	if err := create(path); err != nil {
		t.Errorf("another was first: %v", err)
	}
	if err := verify(path); err != nil {
		t.Error(err)
	}
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil || len(entries) != 1 {
		t.Errorf("left behind: %v, %v", entries, err)
	}
	if s, err := OpenFolder(t.Context(), filepath.Dir(path)); err != nil {
		t.Error(err)
	} else if err := s.Close(); err != nil {
		t.Error(err)
	}
}
