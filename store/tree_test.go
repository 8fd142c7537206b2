package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// pagesOf reads a closed database's pages as bbolt itself tells them: those of each
// kind, and those that are free.
func pagesOf(t *testing.T, path string) (kinds map[string][]int, free []int, list int) {
	t.Helper()
	b, err := bolt.Open(path, 0o600, &bolt.Options{ReadOnly: true, PreLoadFreelist: true})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close() //nolint:errcheck // it only read
	kinds = map[string][]int{}
	err = b.View(func(tx *bolt.Tx) error {
		for id := 0; ; {
			p, err := tx.Page(id)
			if err != nil || p == nil {
				return err
			}
			kinds[p.Type] = append(kinds[p.Type], id)
			if p.Type == "freelist" {
				list = id
			}
			if p.Type == "free" { // what stands there is of old
				free = append(free, id)
				id++
				continue
			}
			id += 1 + p.OverflowCount
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return kinds, free, list
}

// treeOfPages is a database with branches, leaves and free pages.
func treeOfPages(t *testing.T) []byte {
	t.Helper()
	db := open(t)
	r := rand.New(rand.NewPCG(5, 5))
	for i := range 40 {
		var group []light.Reading
		for j := range 200 {
			group = append(group, own("a", time.Duration(i*200+j)*time.Hour, r.Float64()), own("b", time.Duration(i*200+j)*time.Hour, r.Float64()))
		}
		mustAppend(t, db, group...)
	}
	if err := db.Pack(t.Context(), start.Add(1e5*time.Hour)); err != nil {
		t.Fatal(err)
	}
	for i := range 300 {
		mustAppend(t, db, own("c", time.Duration(i)*time.Minute, float64(i)))
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return read(t, db.Path())
}

// A list of free pages that names living ones, and pages that lead in a circle,
// are found before anything is written, and nobody walks in the circle.
func TestDamagedPages(t *testing.T) {
	t.Parallel()
	whole := treeOfPages(t)
	path := filepath.Join(t.TempDir(), FileName)
	if err := os.WriteFile(path, whole, 0o600); err != nil {
		t.Fatal(err)
	}
	kinds, free, list := pagesOf(t, path)
	size := os.Getpagesize()
	t.Logf("%d branches, %d leaves, %d free, %d bytes", len(kinds["branch"]), len(kinds["leaf"]), len(free), len(whole))
	if len(kinds["branch"]) == 0 || len(free) < 3 {
		t.Fatal("too few pages for the test")
	}
	page := func(b []byte, id int) []byte { return b[id*size:] }
	firstFree := func(b []byte, at int) []byte { return page(b, list)[pageHeaderSize+8*at:] }
	put := binary.NativeEndian.PutUint64
	damages := map[string]func([]byte){
		"a free page is named twice":  func(b []byte) { copy(firstFree(b, 1), firstFree(b, 0)[:8]) },
		"a branch leads to itself":    func(b []byte) { put(page(b, kinds["branch"][0])[pageHeaderSize+8:], uint64(kinds["branch"][0])) },
		"a branch leads to the list":  func(b []byte) { put(page(b, kinds["branch"][0])[pageHeaderSize+8:], uint64(list)) },
		"a branch leads out of it":    func(b []byte) { put(page(b, kinds["branch"][0])[pageHeaderSize+8:], 1<<40) },
		"a branch has too many ways":  func(b []byte) { binary.NativeEndian.PutUint16(page(b, kinds["branch"][0])[10:], 60000) },
		"the list is longer than its": func(b []byte) { binary.NativeEndian.PutUint16(page(b, list)[10:], 60000) },
		"a page without end":          func(b []byte) { binary.NativeEndian.PutUint32(page(b, kinds["leaf"][0])[12:], 1<<31) },
	}
	for _, id := range slices.Concat(kinds["branch"], kinds["leaf"][:2], []int{list, 0, 1}) {
		damages[fmt.Sprintf("page %d is free and in use", id)] = func(b []byte) { put(firstFree(b, 0), uint64(id)) }
	}
	for name, damage := range damages {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			damaged := slices.Clone(whole)
			damage(damaged)
			path := filepath.Join(t.TempDir(), FileName)
			if err := os.WriteFile(path, damaged, 0o600); err != nil {
				t.Fatal(err)
			}
			_, opened := Open(path, Options{})
			_, looked := OpenFolder(t.Context(), filepath.Dir(path))
			copied := Backup(t.Context(), filepath.Dir(path), filepath.Join(t.TempDir(), "copy"))
			for what, err := range map[string]error{"opened": opened, "looked": looked, "copied": copied} {
				if !errors.Is(err, ErrDamaged) || !strings.Contains(err.Error(), "was left as it is") {
					t.Errorf("%s: %v", what, err)
				}
			}
			if !slices.Equal(read(t, path), damaged) {
				t.Error("the damaged file was changed")
			}
		})
	}
}

// Of a large database the check goes on behind: reading begins at once, and the
// first write waits for what it finds.
func TestDamagedPagesOfALargeDatabase(t *testing.T) {
	t.Parallel()
	db := open(t)
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	path := db.Path()
	before, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, found := range []error{nil, ErrDamaged} {
		db := openAt(t, path)
		boot := db.Boot()
		// As if the check were still under way.
		db.checked = make(chan struct{})
		wrote := make(chan error, 1)
		go func() {
			_, err := db.Append(t.Context(), []light.Reading{own("a", time.Duration(boot)*time.Minute, 1)})
			wrote <- err
		}()
		view, err := db.View()
		if err != nil {
			t.Fatal(err)
		}
		if err := view.Close(); err != nil {
			t.Error(err)
		}
		select {
		case err := <-wrote:
			t.Errorf("written before the check had ended: %v", err)
		case <-time.After(50 * time.Millisecond):
		}
		db.unsound = found
		close(db.checked)
		if err := <-wrote; !errors.Is(err, found) {
			t.Errorf("the check found %v, the write %v", found, err)
		}
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	}
	if after, err := os.Stat(path); err != nil || after.Size() < before.Size() {
		t.Errorf("%v, %v", after, err)
	}
}
