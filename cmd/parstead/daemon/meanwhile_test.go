package daemon

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// The page answers while a backlog comes in as fast as it can be taken, and
// while the database is copied again and again.
func TestThePageAnswersMeanwhile(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	racktest.Lived(t, dir, racktest.Midday, 4, 100)
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	ctx, end := context.WithCancel(t.Context())
	copies := make(chan int)
	go func() {
		into, n := t.TempDir(), 0
		for ctx.Err() == nil {
			n++
			if err := w.db.Backup(ctx, filepath.Join(into, fmt.Sprint(n))); err != nil && ctx.Err() == nil {
				t.Errorf("backup %d: %v", n, err)
			}
		}
		copies <- n
	}()
	c := w.device("backlog")
	drained := make(chan int)
	go func() {
		n := 0
		for ctx.Err() == nil {
			last := c.Publish("rack/upper", 1, false, "100")
			for range 499 {
				last = c.Publish("rack/upper", 1, false, "100")
			}
			if n += 500; !last.WaitTimeout(20 * time.Second) {
				t.Error("no acknowledgement")
				break
			}
		}
		drained <- n
	}()
	worst := time.Duration(0)
	visits := 0
	for begun := time.Now(); time.Since(begun) < time.Second || visits < 20; visits++ {
		clock.Move(3 * time.Second) // no state serves twice
		asked := time.Now()
		answer, err := http.Get(w.PageURL())
		if err != nil {
			t.Fatal(err)
		}
		_ = answer.Body.Close()
		if answer.StatusCode != http.StatusOK {
			t.Fatalf("status %s", answer.Status)
		}
		worst = max(worst, time.Since(asked))
	}
	end()
	t.Logf("%d pages, the slowest in %s, beside %d readings and %d copies", visits, worst, <-drained, <-copies)
	if worst > 10*time.Second {
		t.Errorf("one page took %s", worst)
	}
	c.Disconnect(0)
	w.stop()
}
