package trial

import (
	"bufio"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"parstead/cmd/parstead/atomicfile"
	"parstead/light"
	"parstead/store/rights"
)

//go:embed starter
var starter embed.FS

// starterDays is the length of the starter's trial: twelve weeks.
const starterDays = 84

// Begin writes a commented starter trial into a folder, which it makes if need
// be, and names the files. Nothing is overwritten: if any of the files is there
// already, none is written.
func Begin(dir string, starts light.Date) (files []string, err error) {
	entries, err := starter.ReadDir("starter")
	if err != nil {
		return nil, fmt.Errorf("read the starter: %w", err)
	}
	for _, e := range entries {
		files = append(files, e.Name())
	}
	there := slices.Clone(files)
	for _, file := range files { // a sheet of the same name would be a second one, whatever its ending
		if name, isSheet := strings.CutSuffix(file, ".csv"); isSheet {
			there = append(there, name+".xlsx")
		}
	}
	for _, file := range there {
		if _, err := os.Lstat(filepath.Join(dir, file)); !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("begin a trial in %s: %s is there already; name a new folder", dir, file)
		}
	}
	if err := rights.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("begin a trial: %w", err)
	}
	days := strings.NewReplacer(
		"STARTS", starts.String(),
		"ENDS", starts.Add(starterDays-1).String(),
	)
	for i, file := range files {
		text, err := starter.ReadFile("starter/" + file)
		if err != nil {
			return files[:i], fmt.Errorf("read the starter: %w", err)
		}
		if err := atomicfile.Create(filepath.Join(dir, file), 0o644, func(w *bufio.Writer) error {
			_, err := days.WriteString(w, string(text))
			return err
		}); err != nil {
			return files[:i], fmt.Errorf("begin a trial: %w", err)
		}
	}
	return files, nil
}
