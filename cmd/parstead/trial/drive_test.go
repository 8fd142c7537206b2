package trial_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
)

// A folder, or one around it, that a program keeps alike on several machines is
// told by what such programs leave behind.
func TestSynchronisedFolder(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		marker string
		warned bool
	}{
		{"../.sync", true},
		{".sync-state", true},
		{"harvest (conflicted copy).csv", true},
		{"harvest.sync-conflict-1.csv", true},
		{"synchronised-lamps.txt", false},
		{".rsync-filter", false},
	} {
		outer := filepath.Join(t.TempDir(), "outer")
		dir := filepath.Join(outer, "rack")
		if err := os.MkdirAll(outer, 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.Rename(folder(t), dir); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(dir, c.marker), nil, 0o600); err != nil {
			t.Fatal(err)
		}
		_, problems := trial.Load(dir)
		warned := false
		for _, p := range problems {
			warned = warned || p.File == "" && p.Level == trial.LevelWarning && strings.Contains(p.Says, "synchronised") &&
				strings.HasPrefix(p.Error(), "folder: warning: ")
		}
		if warned != c.warned {
			t.Errorf("%s: %v", c.marker, problems)
		}
	}
}
