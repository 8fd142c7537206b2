package daemon

import (
	"path/filepath"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/store"
)

// Readings that are dated ahead of this machine's clock are told, with the clock
// that may be wrong; they make no sensor heard, and are of no age.
func TestReadingsOfTheFutureAreTold(t *testing.T) {
	t.Parallel()
	season := racktest.Midday.AddDate(0, 0, 40)
	for name, c := range map[string]struct {
		at, arrived time.Time
		mark        light.Mark
		blames      string // "" where nothing is wrong
	}{
		"this machine's clock was set back": {season, season, 0, "This machine's clock may be behind now, or was ahead when they came (it then said 14 September 2026, 12:00)"},
		"a sensor's clock is ahead":         {season, racktest.Midday.Add(-time.Minute), light.OwnTime, "The clock of sensor upper may be ahead, or this machine's behind"},
		"clocks a little apart":             {racktest.Midday.Add(90 * time.Second), racktest.Midday, light.OwnTime, ""},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := racktest.SmallTrial(t, "")
			db, err := store.Open(filepath.Join(dir, store.FileName), store.Options{})
			done(t, err)
			_, err = db.Append(t.Context(), []light.Reading{
				{Sensor: "upper", At: c.at, Value: 100, Mark: c.mark, Arrived: c.arrived, Boot: 1},
				{Sensor: "lower", At: c.at, Value: 100, Mark: c.mark, Arrived: c.arrived, Boot: 1},
			})
			done(t, err)
			done(t, db.Close())
			clock := racktest.NewClock(racktest.Midday)
			w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
			racktest.Eventually(t, "the first look", w.judged)
			metric := `parstead_condition_active{bin="",condition="clock",sensor=""} 1`
			page := w.get("/")
			if c.blames == "" {
				if strings.Contains(w.get("/metrics"), metric) || !strings.Contains(page, "90 s ahead of this machine&#39;s clock") {
					t.Errorf("of clocks a little apart: %s", page)
				}
				w.stop()
				return
			}
			racktest.Eventually(t, "the condition", func() bool { return strings.Contains(w.get("/metrics"), metric) })
			page = w.get("/")
			for _, wrong := range []string{"All well", "0 s ago", "sensors heard"} {
				if strings.Contains(page, wrong) {
					t.Errorf("the page says %q", wrong)
				}
			}
			for _, due := range []string{"Readings of 2 sensors are dated up to 14 September 2026, 12:00", "40 days ahead of this machine&#39;s clock"} {
				if !strings.Contains(page, due) {
					t.Errorf("the page doesn't say %q: %s", due, page)
				}
			}
			if holding := w.holding(); len(holding) == 0 || !strings.HasPrefix(holding[0].Do, c.blames) {
				t.Errorf("which clock: %+v", holding)
			}
			w.stop()
		})
	}
}
