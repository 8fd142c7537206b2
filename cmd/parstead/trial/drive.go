package trial

import (
	"os"
	"path/filepath"
	"regexp"
)

// What programs that keep a folder alike on several machines leave behind: a
// hidden state of their own, or copies of a file that two machines changed
// (common practice, no source).
var (
	syncState    = regexp.MustCompile(`(?i)^\.(sync.*|[a-z]*sync)$`)
	conflictCopy = regexp.MustCompile(`(?i)conflict(ed)?[ _-]copy|sync[ _.-]conflict`)
)

// syncMarker finds a sign that the folder, or one around it, is synchronised;
// "" if there is none.
func syncMarker(dir string) string {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return ""
	}
	if marker := markerIn(dir, conflictCopy); marker != "" {
		return marker
	}
	for {
		if marker := markerIn(dir, syncState); marker != "" {
			return marker
		}
		up := filepath.Dir(dir)
		if up == dir {
			return ""
		}
		dir = up
	}
}

func markerIn(dir string, names *regexp.Regexp) string {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return ""
	}
	for _, e := range entries {
		if names.MatchString(e.Name()) {
			return filepath.Join(dir, e.Name())
		}
	}
	return ""
}
