package daemon

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// The page says that all is well only once every sensor is heard; what is refused
// at the door is said too, without a word of what it was.
func TestThePageSaysWhatIsRefused(t *testing.T) {
	t.Parallel()
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, racktest.SmallTrial(t, ""), Options{Clock: clock.Ingest()})
	if body := w.get("/"); !strings.Contains(body, "Nothing heard yet from 2 sensors.") {
		t.Errorf("before any reading:\n%s", body)
	}
	c := w.device("chip")
	if token := c.Publish("rack/upper", 1, false, "blinding"); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	clock.Move(3 * time.Second) // no state serves twice
	if body := w.get("/"); !strings.Contains(body, "Nothing usable heard yet from 2 sensors: 1 payload refused, see below.") ||
		!strings.Contains(body, "From upper: 1 refused, the last 3 s ago: no number") || strings.Contains(body, "blinding") {
		t.Errorf("after a payload without a number:\n%s", body)
	}
	for _, bin := range []string{"upper", "lower"} {
		racktest.Send(t, c, "rack/"+bin, 100)
	}
	clock.Move(3 * time.Second)
	if body := w.get("/"); !strings.Contains(body, "2 sensors heard, but 1 payload refused within the last hour, see below.") {
		t.Errorf("with readings:\n%s", body)
	}
	clock.Move(time.Hour)
	for _, bin := range []string{"upper", "lower"} {
		racktest.Send(t, c, "rack/"+bin, 100)
	}
	clock.Move(3 * time.Second)
	racktest.Eventually(t, "all is well", func() bool {
		clock.Move(3 * time.Second)
		return strings.Contains(w.get("/"), "All well: 2 sensors heard")
	})
	w.stop()
}

// The status page fits a phone, whatever bins are called and however much is wrong.
func TestStatusPageInABrowser(t *testing.T) {
	t.Parallel()
	b := openBrowser(t)
	dir := racktest.EntryTrial(t, "[climate]\ncelsius = [16, 30]\n")
	config := racktest.Text(t, dir, "trial.toml")
	for bin, name := range map[string]string{"upper": "shelf 1, left-hand side below the window (propagation)", "lower": strings.Repeat("verylongname", 5)} {
		config = strings.ReplaceAll(config, fmt.Sprintf("%q", bin), fmt.Sprintf("%q", name))
		layout := racktest.Text(t, dir, "layout.csv")
		racktest.WriteFiles(t, dir, map[string]string{"layout.csv": strings.ReplaceAll(layout, ";"+bin+";", `;"`+name+`";`)})
	}
	config = strings.ReplaceAll(config, "rows = 2\ncolumns = 3", "rows = 7\ncolumns = 8")
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": config})
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	racktest.NewPhone(t, w.PageURL(), "Ana").Stored("1 note kind=treated plant=P1 text=soap_spray_"+strings.Repeat("againandagain", 8), "2 count plant=P2 outcome=leaves value=4")
	clock.Move(20 * time.Minute)
	racktest.Eventually(t, "a condition", func() bool { return len(w.holding()) > 0 })
	clock.Move(time.Minute)
	for _, size := range []struct {
		name  string
		width int
	}{{"phone", 360}, {"desk", 1280}} {
		b.call("Emulation.setDeviceMetricsOverride", map[string]any{"width": size.width, "height": 740, "deviceScaleFactor": 1, "mobile": size.width < 500}, nil)
		b.open(w.PageURL())
		b.sees("Light, bin by bin")
		racktest.Eventually(t, "the style", func() bool { return b.eval("document.readyState") == "complete" })
		if over := b.eval("document.documentElement.scrollWidth - document.documentElement.clientWidth"); over != "0" {
			t.Errorf("%s: %s pixels too wide", size.name, over)
		}
		b.picture("status-" + size.name)
	}
	if len(b.complaints) > 0 {
		t.Errorf("the browser complains: %s", strings.Join(b.complaints, "\n"))
	}
	w.stop()
}
