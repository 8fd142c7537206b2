package daemon

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// Changed files are adopted while the daemon runs; a mistake leaves the old ones
// in force and is told.
func TestChangedFilesAreAdopted(t *testing.T) {
	t.Parallel()
	dir := racktest.RackTrial(t, time.Now(), racktest.OwnBroker)
	path := filepath.Join(dir, "trial.toml")
	w := watchFolder(t, dir, Options{})
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	c := w.device("chip")
	stored := func(sensor string) bool {
		return strings.Contains(w.get("/metrics"), fmt.Sprintf("parstead_readings_stored_total{sensor=%q} 1\n", sensor))
	}
	files := func() bool {
		return strings.Contains(w.get("/metrics"), `parstead_condition_active{bin="",condition="files",sensor=""} 1`)
	}
	w.looked()

	write := func(text string) {
		t.Helper()
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	more := string(before) + "\n[[sensor]]\nname = \"added\"\nmeasures = \"ppfd\"\nbin = \"upper\"\nrow = 2\ncolumn = 2\ntopic = \"rack/added\"\n"
	write(more)
	racktest.Eventually(t, "the new sensor", func() bool { return len(w.trial.Load().Rack.Sensors) == 4 })
	racktest.Send(t, c, "rack/added", 50)
	racktest.Eventually(t, "its reading", func() bool { return stored("added") })

	write(more + "\nnonsense = 1\n")
	racktest.Eventually(t, "the condition files", files)
	racktest.Send(t, c, "rack/light", 60)
	racktest.Eventually(t, "readings by the old files", func() bool { return stored("quantum") })
	if len(w.trial.Load().Rack.Sensors) != 4 {
		t.Error("the old files are not in force")
	}
	write(more + "\n# mended\n")
	racktest.Eventually(t, "the condition's end", func() bool { return !files() })
	w.stop()
}
