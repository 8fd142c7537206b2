package daemon

import (
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/light"
	"parstead/light/watch"
)

// A sensor whose messages come without their time is not to be looked for at its
// cable.
func TestSilentNamesAMissingTime(t *testing.T) {
	t.Parallel()
	sensors := []light.Sensor{
		{Name: "air", Position: light.Position{Bin: "upper"}},
		{Name: "damp", Position: light.Position{Bin: "upper"}},
	}
	why := map[string]string{"air": "its messages carry no time at /at"}
	one := watch.Condition{Kind: watch.Silent, Bin: "upper", Sensor: "air", Do: "Look at its supply."}
	tellTimeless(&one, sensors, why, racktest.Midday)
	if one.Says != "Messages of sensor air come, but can't be used." || one.Do != "Look into trial.toml: its messages carry no time at /at." {
		t.Errorf("%+v", one)
	}
	for bin, named := range map[string]bool{"upper": true, "": true, "lower": false} {
		all := watch.Condition{Kind: watch.Silent, Bin: bin, Do: "Look."}
		tellTimeless(&all, sensors, why, racktest.Midday)
		if strings.Contains(all.Do, "sensor air come: its messages carry no time at /at.") != named {
			t.Errorf("bin %q: %s", bin, all.Do)
		}
	}
	other := watch.Condition{Kind: watch.Silent, Bin: "upper", Sensor: "damp", Do: "Look."}
	if tellTimeless(&other, sensors, why, racktest.Midday); other.Do != "Look." {
		t.Errorf("%+v", other)
	}
}

// A payload without the promised time is kept, and the page says what is wrong;
// a saturation mark is shown as one.
func TestThePageSaysWhatIsNotUsed(t *testing.T) {
	t.Parallel()
	dir := racktest.SmallTrial(t, "")
	config := racktest.Text(t, dir, "trial.toml")
	const topic = "\"rack/upper\"\n"
	if !strings.Contains(config, topic) {
		t.Fatalf("the trial has another topic:\n%s", config)
	}
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": strings.Replace(config, topic, topic+"value = \"/v\"\ntime = \"/at\"\n", 1)})
	clock := racktest.NewClock(racktest.Midday)
	w := watchFolder(t, dir, Options{Clock: clock.Ingest()})
	c := w.device("chip")
	if token := c.Publish("rack/upper", 1, false, `{"v":100}`); !token.WaitTimeout(10*time.Second) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	racktest.Send(t, c, "rack/lower", -1)
	clock.Move(3 * time.Second)
	body := w.get("/")
	for _, want := range []string{
		"From upper: stored, but not used: its messages carry no time at /at (payload {&#34;v&#34;:100}): mend `time` of the sensor",
		"marked saturated (raw -1)", "upper has sent nothing usable yet.",
	} {
		if !strings.Contains(body, want) {
			t.Errorf("the page does not say %q:\n%s", want, body)
		}
	}
	metrics := w.get("/metrics")
	if !strings.Contains(metrics, `parstead_readings_set_aside_total{reason="untimed",sensor="upper"} 1`) || strings.Contains(metrics, "\nparstead_ppfd") {
		t.Errorf("%s", metrics)
	}
	w.stop()
}
