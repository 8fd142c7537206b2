package daemon

import (
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// Before nothing of a plant is left to be scored, no page tells what it was dealt
// nor what was found of it; then its own page does.
func TestPagesAreBlindUntilTheHarvestIsIn(t *testing.T) {
	t.Parallel()
	dir := racktest.EntryTrial(t, "")
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	phone := racktest.NewPhone(t, w.PageURL(), "Ana")
	phone.Stored("1 count plant=P1 outcome=leaves value=7351", "2 harvest plant=P1 outcome=mass_g value=83.57 day=2026-08-05", "3 harvest plant=P1 outcome=rooted value=yes",
		"4 note kind=treated plant=P1 text=soap", "9 move plant=P1 bin=upper row=2 column=3")
	secret := []string{"coir", "bark", "7351", "83.57", "rooted yes"}
	pages := []string{"/", "/plant/P1", "/plant/P2", "/place/upper/1/1"}
	look := func() map[string]string {
		clock.Move(5 * time.Second) // no state serves twice
		all := map[string]string{}
		for _, path := range pages {
			all[path] = w.get(path)
		}
		return all
	}
	for path, body := range look() {
		for _, word := range secret {
			if strings.Contains(body, word) {
				t.Errorf("%s tells %q:\n%s", path, word, body)
			}
		}
	}
	if body := w.get("/plant/P1"); !strings.Contains(body, "leaves was counted") || !strings.Contains(body, "treated P1: soap (Ana)") || strings.Count(body, "entered P1: kept back") != 3 || !strings.Contains(body, "entered P1: P1 to upper, row 2, column 3") {
		t.Errorf("the plant's page says too little:\n%s", body)
	}
	// The others have their line, but the leaves of none were counted again.
	for i, code := range []string{"P2", "P3", "P4"} {
		phone.Stored(string(rune('5'+i)) + " harvest plant=" + code + " outcome=mass_g value=2")
	}
	if body := look()["/plant/P2"]; strings.Contains(body, "bark") {
		t.Errorf("P2 is told before it was judged whether it is rooted:\n%s", body)
	}
	body := look()["/plant/P1"]
	for _, want := range []string{"medium <b>coir</b>", "leaves <b>7351</b>", "<b>83.57</b> g (of 4 plants: 2 to 83.57, half of them under 2)", "rooted"} {
		if !strings.Contains(body, want) {
			t.Errorf("once all of P1 is in, its page does not say %s:\n%s", want, body)
		}
	}
	w.stop()
}
