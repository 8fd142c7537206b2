package daemon

import (
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// While the trial's files are being read for long, from a disk that hangs say,
// readings are kept, the page shows them, conditions are judged, and the daemon
// ends within half a minute.
func TestFilesThatHangHoldNothingUp(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	hangs, release := make(chan struct{}), make(chan struct{})
	var once atomic.Bool
	w := watchFolder(t, dir, Options{reading: func() {
		if once.CompareAndSwap(false, true) {
			close(hangs)
		}
		<-release
	}})
	t.Cleanup(func() { close(release) })
	w.looked()
	if err := os.WriteFile(filepath.Join(dir, "counts.csv"), []byte("time,plant,outcome,value\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	<-hangs
	c := w.device("chip")
	racktest.Send(t, c, "rack/upper", 100)
	racktest.Eventually(t, "the page", func() bool { return len(w.get("/")) > 1000 })
	beat := w.service.last.Load()
	racktest.Eventually(t, "housekeeping", func() bool { return w.service.last.Load() > beat })
	w.adoption.since.Store(&moment{time.Now().Add(-2 * longestReading), time.Now()})
	if c, ok := w.adoption.condition(time.Now()); !ok || c.Do == "" {
		t.Error("files that are read for long are not told")
	}
	begun := time.Now()
	w.stop()
	if took := time.Since(begun); took > 30*time.Second {
		t.Errorf("ended after %s", took)
	}
}
