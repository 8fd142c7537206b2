package daemon

import (
	"strings"
	"testing"

	"parstead/cmd/parstead/racktest"
)

// As long as a large database is looked through, a scrape does not wait for what is
// summed from it: what is known is there, and light is absent.
func TestAScrapeDoesNotWaitForTheCheck(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	racktest.Lived(t, dir, racktest.Midday, 2, 60)
	w := watchFolder(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	racktest.Eventually(t, "readiness", func() bool { return w.totals.ready() == nil })
	const reading, light = `parstead_ppfd_micromoles_per_square_meter_second{bin="upper",column="1",row="1",sensor="upper"} 60`, "parstead_dli_moles_per_square_meter{"
	if body := w.get("/metrics"); !strings.Contains(body, reading) || !strings.Contains(body, light) {
		t.Fatalf("with all checked:\n%s", body)
	}
	of := &w.status
	checking := &status{
		trial: of.trial, now: of.now, db: of.db, checked: func() bool { return false }, intake: of.intake,
		conditions: of.conditions, filing: of.filing, connected: of.connected, broker: of.broker,
	}
	bare, err := checking.atOnce(t.Context())
	if err != nil || len(bare.Sensors) != 2 || len(bare.Bins) != 0 {
		t.Errorf("while it is checked: %+v, %v", bare, err)
	}
	w.stop()
}
