package store

import (
	"context"
	"errors"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
)

// fill gives a database readings of three sensors, own and arrival times,
// partly packed, and a log.
func fill(tb testing.TB, db *DB) {
	tb.Helper()
	for day := range 20 {
		var group []light.Reading
		for i := range 300 {
			after := time.Duration(day)*24*time.Hour + time.Duration(i)*time.Minute
			group = append(group, own("a", after, float64(i%50)), own("b", after+time.Millisecond, 20+float64(i)/10), arrival("c", after, float64(i)))
		}
		mustAppend(tb, db, group...)
		if day%4 == 3 && day < 15 {
			if err := db.Pack(tb.Context(), start.Add(time.Duration(day)*24*time.Hour)); err != nil {
				tb.Fatal(err)
			}
		}
	}
	for _, text := range []string{"one", "two"} {
		if _, err := db.AddEvent(tb.Context(), light.Event{Kind: light.Other, Text: text}); err != nil {
			tb.Fatal(err)
		}
	}
}

// contents is all that a source holds.
func contents(tb testing.TB, s light.Source) map[string]any {
	tb.Helper()
	names, err := s.Sensors()
	if err != nil {
		tb.Fatal(err)
	}
	all := map[string]any{}
	for _, name := range names {
		all[name] = seriesOf(tb, s, name, light.Span{})
	}
	if all["the log"], err = s.Events(context.Background()); err != nil {
		tb.Fatal(err)
	}
	return all
}

func contentsOf(tb testing.TB, db *DB) map[string]any {
	tb.Helper()
	s, err := db.View()
	if err != nil {
		tb.Fatal(err)
	}
	defer s.Close() //nolint:errcheck // a reading transaction
	return contents(tb, s)
}

// A backup taken while readings come in is whole, and restores what was there.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	db, folder := serve(t)
	fill(t, db)
	want := contentsOf(t, db)
	elsewhere := t.TempDir()

	// By the daemon itself, through its socket, and from a file at rest.
	backups := []string{filepath.Join(elsewhere, "1"), filepath.Join(elsewhere, "2"), filepath.Join(elsewhere, "3")}
	if err := db.Backup(t.Context(), backups[0]); err != nil {
		t.Fatal(err)
	}
	if err := Backup(t.Context(), folder, backups[1]); err != nil {
		t.Fatal(err)
	}
	rest := filepath.Join(elsewhere, "rest")
	if err := Restore(t.Context(), backups[0], rest); err != nil {
		t.Fatal(err)
	}
	if err := Backup(t.Context(), rest, backups[2]); err != nil {
		t.Fatal(err)
	}
	mustAppend(t, db, own("later", 0, 1))
	for _, backup := range backups {
		if info, err := os.Stat(backup); err != nil || info.Mode().Perm() != 0o600 {
			t.Errorf("mode %v, %v", info.Mode(), err)
		}
		restored := backup + " restored"
		if err := Restore(t.Context(), backup, restored); err != nil {
			t.Fatal(err)
		}
		again := openAt(t, filepath.Join(restored, FileName))
		checkPages(t, again)
		if diff := cmp.Diff(want, contentsOf(t, again)); diff != "" {
			t.Error(diff)
		}
		if again.Boot() <= db.Boot() {
			t.Errorf("boot %d is not new", again.Boot())
		}
	}

	// Nothing that exists is replaced.
	if err := Backup(t.Context(), folder, backups[0]); err == nil || !strings.Contains(err.Error(), "exists") {
		t.Errorf("onto a backup: %v", err)
	}
	if err := Restore(t.Context(), backups[0], rest); err == nil || !strings.Contains(err.Error(), "exists") {
		t.Errorf("onto a database: %v", err)
	}
	// No half a backup stays behind.
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := db.Backup(ended, filepath.Join(elsewhere, "4")); !errors.Is(err, context.Canceled) {
		t.Errorf("an ended context: %v", err)
	}
	if err := Backup(t.Context(), t.TempDir(), filepath.Join(elsewhere, "4")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("of an empty folder: %v", err)
	}
	left, err := filepath.Glob(filepath.Join(elsewhere, ".*partial"))
	if err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
	if _, err := os.Stat(filepath.Join(elsewhere, "4")); err == nil {
		t.Error("a failed backup has a name")
	}
}

// A damaged backup is refused before anything is written.
func TestRestoreDamaged(t *testing.T) {
	t.Parallel()
	db := open(t)
	fill(t, db)
	backup := filepath.Join(t.TempDir(), "backup")
	if err := db.Backup(t.Context(), backup); err != nil {
		t.Fatal(err)
	}
	whole, err := os.ReadFile(backup)
	if err != nil {
		t.Fatal(err)
	}
	for name, damaged := range map[string][]byte{
		"empty":    nil,
		"cut":      whole[:len(whole)/2],
		"one byte": changed(whole, string([]byte{kindBlock, recordVersion})),
		"a sheet":  []byte(strings.Repeat("plant,fresh_g\n", 1000)),
	} {
		file, folder := filepath.Join(t.TempDir(), "file"), filepath.Join(t.TempDir(), "new")
		if err := os.WriteFile(file, damaged, 0o600); err != nil {
			t.Fatal(err)
		}
		if err := Restore(t.Context(), file, folder); !errors.Is(err, ErrDamaged) {
			t.Errorf("%s: %v", name, err)
		}
		if _, err := os.Stat(folder); err == nil {
			t.Errorf("%s: a folder was made", name)
		}
	}
}

// changed flips a bit a little after every place where head stands.
func changed(b []byte, head string) []byte {
	b = slices.Clone(b)
	for i := 0; ; i++ {
		n := strings.Index(string(b[i:]), head)
		if n < 0 {
			return b
		}
		i += n
		b[i+20] ^= 4
	}
}

// Of a whole database salvage brings back everything; of one with lost pages,
// what does not lie on them, and nothing that was never stored.
func TestSalvage(t *testing.T) {
	t.Parallel()
	whole, want, _ := filled(t)
	found, got := salvaged(t, whole)
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if found.Readings != 3*20*300 || found.Events != 2 || found.Sensors != 3 || len(found.Unnamed) != 0 || found.Unreadable != 0 {
		t.Errorf("found %+v", found)
	}

	// The pages that lead to the others are gone: what they led to is not.
	headless := slices.Clone(whole)
	clear(headless[:2*os.Getpagesize()])
	if _, got := salvaged(t, headless); !cmp.Equal(want, got) {
		t.Error("without its first pages the database comes back otherwise")
	}
}

// filled is a filled database's file, what it holds, and how many pages are in use.
func filled(t *testing.T) (whole []byte, holds map[string]any, pages int) {
	t.Helper()
	db := open(t)
	fill(t, db)
	if db.Boot() != 1 {
		t.Fatalf("boot %d of a new database", db.Boot())
	}
	holds = contentsOf(t, db)
	stats, err := db.Stats()
	if err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	whole, err = os.ReadFile(db.Path())
	if err != nil {
		t.Fatal(err)
	}
	return whole, holds, int(stats.LiveBytes)/os.Getpagesize() + stats.FreePages
}

// salvaged is what comes back of a damaged file, which stays as it is.
func salvaged(t *testing.T, file []byte) (Salvaged, map[string]any) {
	t.Helper()
	folder := t.TempDir()
	damaged, out := filepath.Join(folder, "damaged"), filepath.Join(folder, FileName)
	if err := os.WriteFile(damaged, file, 0o600); err != nil {
		t.Fatal(err)
	}
	found, err := Salvage(t.Context(), damaged, out)
	if err != nil {
		t.Fatal(err)
	}
	again := openAt(t, out)
	checkPages(t, again)
	if again.Boot() <= 1 {
		t.Errorf("boot %d is not new", again.Boot())
	}
	if now, err := os.ReadFile(damaged); err != nil || string(now) != string(file) {
		t.Error("the damaged file was changed")
	}
	return found, contentsOf(t, again)
}

func TestSalvageOfDamagedPages(t *testing.T) {
	t.Parallel()
	whole, want, used := filled(t)
	r := rand.New(rand.NewPCG(9, 9))
	page := os.Getpagesize()
	for range 8 {
		damaged := slices.Clone(whole)
		for range 3 {
			at := r.IntN(used) * page
			for i := range page {
				damaged[at+i] = byte(r.Uint32())
			}
		}
		found, got := salvaged(t, damaged)
		t.Logf("%+v", found)
		for name, x := range got {
			series, ok := x.(light.Series)
			if !ok || strings.HasPrefix(name, "unnamed") {
				continue
			}
			all := want[name].(light.Series)
			for i, at := range series.Times {
				k, ok := slices.BinarySearch(all.Times, at)
				if !ok || all.Values[k] != series.Values[i] {
					t.Fatalf("%s: a reading that was never stored", name)
				}
			}
			if series.Len() > all.Len() {
				t.Fatalf("%s: %d readings of %d", name, series.Len(), all.Len())
			}
		}
	}
}

func TestSalvageRefuses(t *testing.T) {
	t.Parallel()
	folder := t.TempDir()
	out, nothing := filepath.Join(folder, "out"), filepath.Join(folder, "nothing")
	if _, err := Salvage(t.Context(), filepath.Join(folder, "none"), out); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("of no file: %v", err)
	}
	if err := os.WriteFile(nothing, make([]byte, 1<<16), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Salvage(t.Context(), nothing, nothing); err == nil {
		t.Error("it writes onto the damaged file")
	}
	if _, err := Salvage(t.Context(), nothing, out); !errors.Is(err, ErrDamaged) {
		t.Errorf("of a file of zeros: %v", err)
	}
	if _, err := os.Stat(out); err == nil {
		t.Error("an empty database was made")
	}
}
