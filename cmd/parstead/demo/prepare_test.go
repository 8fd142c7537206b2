package demo

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestPrepare(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	if err := Prepare(dir); err != nil {
		t.Errorf("an empty folder: %v", err)
	}
	if err := Prepare(filepath.Join(dir, "new")); err != nil {
		t.Errorf("no folder yet: %v", err)
	}
	made := filepath.Join(dir, "made")
	if err := newWorld(t, Config{Days: MinDays}).WriteFolder(made); err != nil {
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
