package atomicfile

import (
	"bufio"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
)

func put(tb testing.TB, path, text string) {
	tb.Helper()
	if err := os.WriteFile(path, []byte(text), 0o640); err != nil {
		tb.Fatal(err)
	}
}

func holds(tb testing.TB, path, want string) {
	tb.Helper()
	if got, err := os.ReadFile(path); err != nil || string(got) != want {
		tb.Errorf("%s holds %q (%v), want %q", filepath.Base(path), got, err, want)
	}
}

// alone checks that the folder holds these files and none in the making.
func alone(tb testing.TB, dir string, want ...string) {
	tb.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		tb.Fatal(err)
	}
	var got []string
	for _, e := range entries {
		got = append(got, e.Name())
	}
	if !slices.Equal(got, want) {
		tb.Errorf("the folder holds %q, want %q", got, want)
	}
}

// watch takes down what is seen to the disk, and lets it fail.
func watch(tb testing.TB, fail func(name string) error) *[]string {
	tb.Helper()
	var names []string
	before := toDisk
	tb.Cleanup(func() { toDisk = before })
	toDisk = func(f *os.File) error {
		names = append(names, filepath.Base(f.Name()))
		return errors.Join(fail(filepath.Base(f.Name())), before(f))
	}
	return &names
}

func writing(text string) func(*bufio.Writer) error {
	return func(w *bufio.Writer) error {
		_, err := w.WriteString(text)
		return err
	}
}

// The file is on the disk before its name is, and the name before it is said.
func TestFileAndFolderAreSynced(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("a folder can't be synced there")
	}
	dir := filepath.Join(t.TempDir(), "folder")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "told.json")
	put(t, path, "old")
	seen := watch(t, func(string) error { return nil })
	for _, c := range []struct {
		what string
		do   func() error
		want []string
	}{
		{"replace", func() error { return Replace(path, []byte("new"), nil, nil) }, []string{"told.json.new", "folder"}},
		{"create", func() error { return Create(filepath.Join(dir, "made"), 0o600, writing("x")) }, []string{"made", "folder"}},
		{"rename", func() error { return Rename(filepath.Join(dir, "made"), filepath.Join(dir, "named")) }, []string{"folder"}},
	} {
		*seen = nil
		if err := c.do(); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(*seen, c.want) {
			t.Errorf("%s: synced %q, want %q", c.what, *seen, c.want)
		}
	}
	holds(t, path, "new")
	alone(t, dir, "named", "told.json")
}

// What can't be seen to the disk, or isn't wanted any more, takes no file's place.
func TestWhatFailsLeavesTheOldFile(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "told.json")
	put(t, path, "old")
	broken := errors.New("the disk is broken")
	if err := Replace(path, []byte("new"), nil, func() error { return broken }); !errors.Is(err, broken) {
		t.Error(err)
	}
	watch(t, func(string) error { return broken })
	if err := Replace(path, []byte("new"), nil, nil); !errors.Is(err, broken) {
		t.Error(err)
	}
	holds(t, path, "old")
	alone(t, dir, "told.json")
}

// A draft that was left over is no hindrance, and a link in its place isn't followed.
func TestLeftoversAndLinks(t *testing.T) {
	dir := t.TempDir()
	path, trap := filepath.Join(dir, "told.json"), filepath.Join(dir, "trap")
	put(t, trap, "untouched")
	put(t, path+Ending, "half")
	if err := Replace(path, []byte("1"), nil, nil); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(trap, path+Ending); err != nil {
		t.Fatal(err)
	}
	like, err := os.Stat(trap)
	if err != nil {
		t.Fatal(err)
	}
	if err := Replace(path, []byte("2"), like, nil); err != nil {
		t.Fatal(err)
	}
	holds(t, path, "2")
	holds(t, trap, "untouched")
	alone(t, dir, "told.json", "trap")
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 {
		t.Error("the rights are not those of the file to be like", info.Mode(), err)
	}
	if err := Create(path, 0o600, writing("3")); !errors.Is(err, fs.ErrExist) {
		t.Error("a file was made over one that was there", err)
	}
}
