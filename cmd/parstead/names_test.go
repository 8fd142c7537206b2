package main

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
)

// A folder's name is taken byte by byte, UTF-8 or not.
func TestAFolderWhoseNameIsNotUTF8(t *testing.T) {
	t.Parallel()
	if runtime.GOOS != "linux" {
		t.Skip("names are text here")
	}
	dir := filepath.Join(t.TempDir(), "rack\xff")
	if out, err := said(t, "begin", dir); err != nil {
		t.Fatal(out, err)
	}
	if _, err := os.Stat(filepath.Join(dir, "trial.toml")); err != nil {
		t.Error(err)
	}
	if out, err := said(t, "check", dir); err != nil {
		t.Error(out, err)
	}
}
