package daemon

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/alarm"
	"parstead/cmd/parstead/racktest"
	"parstead/store"
)

// A disk that fails to sync is told at once with its cause, and ends the daemon
// with exit status 1 and one line, so that its service manager starts it again.
func TestAFailedDiskEndsTheDaemon(t *testing.T) {
	t.Parallel()
	out := racktest.NewOutbox(t)
	dir := racktest.SmallTrial(t, "[tell]\n"+out.Command())
	sink := &faultySink{}
	w := watchFolder(t, dir, Options{sink: sink.wrap})
	c := w.device("upper")
	racktest.Send(t, c, "rack/upper", 100)
	sink.fail(fmt.Errorf("keep 1 readings: %w (%w)", store.ErrFailed, &os.PathError{Op: "fsync", Path: "readings.db", Err: syscall.EIO}))
	token := c.Publish("rack/upper", 1, false, "101")

	var err error
	select {
	case err = <-w.done:
	case <-time.After(20 * time.Second):
		t.Fatal("the daemon goes on")
	}
	if token.WaitTimeout(time.Second) && token.Error() == nil {
		t.Error("a reading was acknowledged that is not on disk")
	}
	if err == nil || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), "input/output error") || !strings.Contains(err.Error(), "restart") {
		t.Errorf("it ended with %v", err)
	}
	if short, all := out.Messages(); len(all) != 1 || short[0] != "disk" || !strings.Contains(all[0].Says, "input/output error") {
		t.Errorf("told: %v %+v", short, all)
	}

	// The next start finds it well again; it says so once the condition has
	// had time to show.
	clock := racktest.NewClock(time.Now().Truncate(time.Second))
	w = watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.Eventually(t, "the first look", w.judged)
	clock.Move(alarm.Settling + 2*time.Minute)
	racktest.Eventually(t, "the end of it told", func() bool { short, _ := out.Messages(); return slices.Contains(short, "over disk") })
	w.stop()
}

// A full disk is told at once, on every way, and its end too; the daemon goes on.
func TestAFullDiskIsToldAtOnce(t *testing.T) {
	t.Parallel()
	out := racktest.NewOutbox(t)
	sink := &faultySink{}
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, racktest.SmallTrial(t, "[tell]\n"+out.Command()), Options{sink: sink.wrap, Clock: clock.Ingest()})
	racktest.Send(t, w.device("upper"), "rack/upper", 100)
	racktest.Eventually(t, "the first look", w.judged)
	sink.fail(fmt.Errorf("keep 1 readings: %w", &os.PathError{Op: "write", Path: "readings.db", Err: syscall.ENOSPC}))
	w.device("upper").Publish("rack/upper", 1, false, "101")
	racktest.Eventually(t, "the condition, without the clock moving", func() bool {
		return strings.Contains(w.get("/metrics"), `parstead_condition_active{bin="",condition="disk",sensor=""} 1`)
	})
	if page := w.get("/"); !strings.Contains(page, "no space left on device") || !strings.Contains(page, "Make room on the disk") {
		t.Error("the page does not say what is wrong and what to do")
	}
	if ready := w.get("/ready"); !strings.Contains(ready, "can't be kept") {
		t.Errorf("/ready says %q while nothing can be kept", ready)
	}
	sink.fail(nil)
	racktest.Send(t, w.device("upper"), "rack/upper", 102)
	racktest.Eventually(t, "two messages", func() bool { short, _ := out.Messages(); return len(short) == 2 })
	short, _ := out.Messages()
	if diff := cmp.Diff([]string{"disk", "over disk"}, short); diff != "" {
		t.Error(diff)
	}
	w.stop()
}

func TestKeeperTellsAHangingCommit(t *testing.T) {
	t.Parallel()
	k := newKeeper(nil, time.Now)
	if k.stuck() {
		t.Error("stuck before anything was kept")
	}
	k.begun = time.Now().Add(-stuckAfter - time.Second)
	if !k.stuck() {
		t.Error("a commit that hangs is not told")
	}
	if _, ok := k.condition("."); ok {
		t.Error("a slow commit is no failed one")
	}
	if errors.Is(k.cause, store.ErrFailed) {
		t.Error("a cause out of nothing")
	}
}
