//go:build slow

package daemon

import (
	"context"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/ingest"
	"parstead/light"
)

// hangingSink does not come back before it is told to give up.
type hangingSink struct{}

func (hangingSink) Append(ctx context.Context, _ []light.Reading) ([]light.Fate, error) {
	<-ctx.Done()
	return nil, ctx.Err()
}

// A daemon that is told to end while its disk hangs gives the last commit ten
// seconds, acknowledges nothing, says so and ends.
func TestADrainThatHangsIsGivenUp(t *testing.T) {
	t.Parallel()
	w := watchFolder(t, racktest.SmallTrial(t, ""), Options{sink: func(ingest.Sink) ingest.Sink { return hangingSink{} }})
	c := w.device("upper")
	c.Publish("rack/upper", 0, false, "99") // nobody sends this one again
	token := c.Publish("rack/upper", 1, false, "100")
	time.Sleep(200 * time.Millisecond)
	begun := time.Now()
	err := w.Stop()
	took := time.Since(begun)
	if err == nil || !strings.Contains(err.Error(), "1 that nobody sends again") || took < 9*time.Second || took > 20*time.Second {
		t.Errorf("ended after %s with %v", took, err)
	}
	if token.WaitTimeout(time.Second) && token.Error() == nil {
		t.Error("a reading was acknowledged that is not on disk")
	}
}
