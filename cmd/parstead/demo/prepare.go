package demo

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

// Prepare looks whether a demo may be written into dir: it must be empty or not
// there. Nothing is ever written over, a demo of earlier neither.
func Prepare(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("look into the demo's folder: %w", err)
	case len(entries) == 0:
		return nil
	case ours(dir):
		return fmt.Errorf("%s holds an earlier demo: name another folder with --dir, or remove it yourself", dir)
	default:
		return fmt.Errorf("%s is not empty: name another folder with --dir", dir)
	}
}

// ours tells whether the folder was made by a demo.
func ours(dir string) bool {
	text, err := os.ReadFile(filepath.Join(dir, "trial.toml"))
	return err == nil && bytes.HasPrefix(text, []byte(Marker))
}

// Remove removes a demo that was not played to its end from the folder that Prepare
// found empty or not there.
func Remove(dir string) error {
	if !ours(dir) {
		return nil // it was stopped before it wrote anything
	}
	if err := os.RemoveAll(dir); err != nil {
		return fmt.Errorf("remove what the stopped demo had written: %w", err)
	}
	return nil
}
