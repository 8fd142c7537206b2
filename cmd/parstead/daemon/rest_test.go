package daemon

import (
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
)

// The page is ready only when the light of the days so far is known, and the
// sums are made anew only when something reaches back over them.
func TestReadyOnceTotalsAreKnown(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	racktest.Lived(t, dir, racktest.Midday, 4, 100)
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.Eventually(t, "readiness", func() bool { return w.totals.ready() == nil })
	total := func() light.DLI {
		w.totals.mu.Lock()
		defer w.totals.mu.Unlock()
		return w.totals.sums[light.Position{Bin: "upper", Row: 1, Column: 1}]
	}
	summed := func() time.Time {
		w.totals.mu.Lock()
		defer w.totals.mu.Unlock()
		return w.totals.ended
	}
	// Four light days of which the first has begun at noon; the rest of it is filled.
	before, first := total(), summed()
	if before < 4*5 || before > 4*5.1 {
		t.Errorf("total %.3f mol m⁻², want four days of 5.045", float64(before))
	}
	c := w.device("upper")
	racktest.Send(t, c, "rack/upper", 100)
	time.Sleep(50 * time.Millisecond)
	if summed() != first {
		t.Error("a reading of today has the finished days added up anew")
	}
	// A logger's file for a finished day reaches back.
	late := light.Reading{Sensor: "upper", At: racktest.Midday.AddDate(0, 0, -2), Value: 150, Mark: light.OwnTime}
	if _, err := w.db.Append(t.Context(), []light.Reading{late}); err != nil {
		t.Fatal(err)
	}
	racktest.Eventually(t, "the late reading in the totals", func() bool { return total() != before })
	at := summed()
	if _, err := w.db.AddEvent(t.Context(), light.Event{Kind: light.Other, Text: "looked in"}); err != nil {
		t.Fatal(err)
	}
	racktest.Eventually(t, "sums after a note", func() bool { return summed() != at })
	clock.Move(24 * time.Hour)
	racktest.Eventually(t, "sums of the next day", func() bool { return total() > before+4 })
	w.stop()
}

// At rest nothing is computed: a round of housekeeping with nothing due costs
// some microseconds.
func BenchmarkHousekeepingAtRest(b *testing.B) {
	dir := racktest.SmallTrial(b, "")
	racktest.Lived(b, dir, racktest.Midday, 4, 100)
	w := watchFolder(b, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	racktest.Eventually(b, "readiness", func() bool { return w.totals.ready() == nil })
	for b.Loop() {
		if err := w.totals.update(b.Context(), racktest.Midday); err != nil {
			b.Fatal(err)
		}
	}
	w.stop()
}
