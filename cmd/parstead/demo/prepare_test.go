package demo

import (
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
)

func TestPrepare(t *testing.T) {
	t.Parallel()
	empty, dir := t.TempDir(), t.TempDir()
	if err := Prepare(empty); err != nil {
		t.Errorf("an empty folder: %v", err)
	}
	made := filepath.Join(dir, "made")
	if err := Prepare(made); err != nil {
		t.Errorf("no folder yet: %v", err)
	}
	if err := newWorld(t, Config{Days: MinDays}).WriteFolder(made); err != nil {
		t.Fatal(err)
	}
	put := func(pid string) {
		t.Helper()
		if err := os.WriteFile(filepath.Join(made, underway), []byte(pid), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if put(strconv.Itoa(os.Getppid())); runtime.GOOS != "windows" {
		if err := Prepare(made); err == nil || !strings.Contains(err.Error(), "just now") {
			t.Errorf("one that is being played: %v", err)
		}
	}
	put("999999999") // no process has this number: it was killed
	if err := Prepare(made); err != nil {
		t.Errorf("one that was cut off: %v", err)
	}
	if err := newWorld(t, Config{Days: MinDays}).WriteFolder(made); err != nil {
		t.Errorf("something is left of it: %v", err)
	}
	if err := Finish(made); err != nil {
		t.Fatal(err)
	}
	if err := Prepare(made); err == nil || !strings.Contains(err.Error(), "earlier demo") {
		t.Errorf("an earlier demo: %v", err)
	}
	if err := Prepare(dir); err == nil || !strings.Contains(err.Error(), "not empty") {
		t.Errorf("somebody's folder: %v", err)
	}
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := Prepare(file); err == nil {
		t.Error("a file was taken for a folder")
	}
}
