// Package monitor holds what a metrics server needs to watch racks: alert rules,
// recording rules, a scrape job and a console page, in that server's own formats.
package monitor

import (
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
)

//go:embed files
var files embed.FS

// Write writes the files into a folder, which is made where it is not there, and
// returns their names. One that is there and differs is not replaced.
func Write(dir string) (names []string, err error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder: %w", err)
	}
	entries, err := files.ReadDir("files")
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		text, err := files.ReadFile("files/" + e.Name())
		if err != nil {
			return names, err
		}
		name := filepath.Join(dir, e.Name())
		switch there, err := os.ReadFile(name); {
		case err == nil && string(there) == string(text):
		case err == nil:
			return names, fmt.Errorf("%s is there and was changed: move it away, or name another folder", name)
		case !errors.Is(err, fs.ErrNotExist):
			return names, err
		default:
			if err := os.WriteFile(name, text, 0o644); err != nil {
				return names, err
			}
		}
		names = append(names, name)
	}
	return names, nil
}
