package daemon

import (
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/light/watch"
)

// Bins that get 60 % of what is meant are the page's headline after three days,
// each in its line, however well the average of all may be.
func TestABinOffItsTargetIsAHeadline(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	config := racktest.Text(t, dir, "trial.toml")
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.Replace(config, "target_dli = 5.0", "target_dli = 3.0", 1)}) // of upper
	racktest.Lived(t, dir, racktest.Midday, 4, 60)
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.Eventually(t, "readiness", func() bool { return w.totals.ready() == nil })
	clock.Move(2 * time.Minute)
	racktest.Eventually(t, "the condition", func() bool {
		for _, c := range w.holding() {
			if c.Kind == watch.OffTarget {
				return c.Bin == "lower"
			}
		}
		return false
	})
	clock.Move(5 * time.Second) // no state serves twice
	body := w.get("/")
	for _, want := range []string{
		"<h1>Bin lower is short of light: 61 % of what is meant, 3.0 of 5.0 mol m⁻² a day.</h1>",
		`<tr class="off"><th scope="row"><a href="#bin-1">lower</a>`, "61 % <small>short</small>",
		`<tr><th scope="row"><a href="#bin-0">upper</a>`, "101 %</td>", "<b>Do:</b> Switch off at the plug",
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %s:\n%s", want, body)
		}
	}
	if !strings.Contains(w.get("/metrics"), `parstead_condition_active{bin="lower",condition="off_target",sensor=""} 1`) {
		t.Error("the metrics do not say it")
	}
	w.stop()
}
