package atomicfile

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"parstead/store/rights"
)

// CreateFolder fills a new folder under another name, then names it. Dir must be empty
// or not be there. After an error it is as it was.
func CreateFolder(dir string, fill func(partial string) error) (err error) {
	if err := mustBeEmpty(dir); err != nil {
		return err
	}
	dir = filepath.Clean(dir)
	parent := filepath.Dir(dir)
	if err := rights.MkdirAll(parent, 0o700); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	partial, err := os.MkdirTemp(parent, ".parstead-partial-*")
	if err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(partial))
		}
	}()
	if err := rights.Share(partial, 0o700); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	if err := fill(partial); err != nil {
		return err
	}
	if err := os.Remove(dir); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("replace the empty folder: %w", err)
	}
	if err := Rename(partial, dir); err != nil {
		return fmt.Errorf("name the folder: %w", err)
	}
	return nil
}

// mustBeEmpty refuses a folder that holds anything.
func mustBeEmpty(dir string) error {
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return nil
	case err != nil:
		return fmt.Errorf("look into the folder: %w", err)
	case len(entries) > 0:
		return fmt.Errorf("%s is not empty (it holds %s): name a new folder", dir, entries[0].Name())
	}
	return nil
}
