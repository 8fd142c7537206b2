//go:build slow

package daemon

import (
	"context"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/ingest"
	"parstead/light"
)

// commitCounter counts what reaches the store.
type commitCounter struct {
	ingest.Sink
	commits, readings atomic.Int64
}

func (c *commitCounter) wrap(s ingest.Sink) ingest.Sink { c.Sink = s; return c }

func (c *commitCounter) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	c.commits.Add(1)
	c.readings.Add(int64(len(group)))
	return c.Sink.Append(ctx, group)
}

// A rack at rest whose sensors publish without acknowledgement (QoS 0) spares
// its card: at most one commit in ten seconds, with the daemon's own settings.
func TestARackAtRestSparesItsCard(t *testing.T) {
	t.Parallel()
	count := &commitCounter{}
	w := watchFolder(t, racktest.SmallTrial(t, ""), Options{sink: count.wrap, linger: 10 * time.Second})
	c := w.device("rack")
	const lasts = 45 * time.Second
	begun := time.Now()
	sent := 0
	for tick := time.NewTicker(time.Minute / 16); time.Since(begun) < lasts; <-tick.C { // 16 readings a minute
		c.Publish("rack/"+[]string{"upper", "lower"}[sent%2], 0, false, fmt.Sprint(100+sent))
		sent++
	}
	commits := count.commits.Load()
	if most := int64(lasts/(10*time.Second)) + 1; commits == 0 || commits > most {
		t.Errorf("%d commits in %s, at most %d are due", commits, lasts, most)
	}
	t.Logf("%d readings in %d commits in %s", sent, commits, lasts)
	w.stop()
	if stored := count.readings.Load(); stored != int64(sent) {
		t.Errorf("%d of %d readings were stored", stored, sent)
	}
}
