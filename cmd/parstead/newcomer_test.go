package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"os/exec"
	"strings"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
)

// shapes are payloads as sensors' firmware sends them (common practice, no source), each
// published by a program that is not ours; what the page must show of it; and how `topics`
// names what it proposes. The clock is that of the starter's timezone.
var shapes = []struct {
	what, topic, sensor string
	payload             func(now time.Time) string
	value               float64
}{
	{"a bare number", "bench/one/lux", "bench one lux", always("5401"), 5401},
	{"a number with its unit", "bench/two/lux", "bench two lux", always("5402 lx"), 5402},
	{"a decimal comma", "bench/three/temperature", "bench three temperature", always("23,4"), 23.4},
	{"JSON of one level", "bench/four", "bench four lux", always(`{"lux":5404,"battery":3.9}`), 5404},
	{"JSON of two levels, with a time and zone", "bench/five", "bench five light ppfd", func(now time.Time) string {
		return fmt.Sprintf(`{"light":{"ppfd":85.5},"at":%q}`, now.UTC().Format(time.RFC3339))
	}, 85.5},
	{"keys with blanks and dots, local time", "bench/six", "bench six LUX 1 Illuminance.raw", func(now time.Time) string {
		return fmt.Sprintf(`{"Time":%q,"LUX 1":{"Illuminance.raw":5406}}`, now.Format("2006-01-02T15:04:05"))
	}, 5406},
	{"milliseconds since 1970", "bench/seven", "bench seven humidity", func(now time.Time) string {
		return fmt.Sprintf(`{"ts":%d,"humidity":57}`, now.UnixMilli())
	}, 57},
	{"a list, a number with decimal comma and unit", "bench/eight", "bench eight values 0 illuminance", always(`{"values":[{"illuminance":"5408,5 lx"}]}`), 5408.5},
}

func always(text string) func(time.Time) string { return func(time.Time) string { return text } }

// A newcomer's way as README tells it: begin, run, ask what arrives, paste what is
// proposed. Nothing of what is pasted is changed, and each of eight sensors is then on the
// page with the value that it sends.
func TestFromNothingToTheFirstReading(t *testing.T) {
	t.Parallel()
	racktest.NeedTool(t, "mosquitto_pub")
	dir := t.TempDir()
	must(t, time.Now(), "", "begin", dir)
	text, broker, page := racktest.Text(t, dir, "trial.toml"), racktest.FreeAddress(t), racktest.FreeAddress(t)
	text = strings.NewReplacer("\nlisten = \"127.0.0.1:1883\"", "\nlisten = \""+broker+"\"", "\nlisten = \"127.0.0.1:8620\"", "\nlisten = \""+page+"\"").Replace(text)
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": text})
	program(t, nil, "run", dir)
	zone, err := time.LoadLocation("Europe/Lisbon")
	if err != nil {
		t.Fatal(err)
	}
	host, port, _ := strings.Cut(broker, ":")
	publish := func() error {
		for _, s := range shapes {
			if out, err := exec.Command("mosquitto_pub", "-h", host, "-p", port, "-t", s.topic, "-q", "1", "-m", s.payload(time.Now().In(zone))).CombinedOutput(); err != nil {
				return fmt.Errorf("%s: %w: %s", s.what, err, out)
			}
		}
		return nil
	}
	racktest.Eventually(t, "the daemon takes what is published", func() bool { return publish() == nil })
	listened := make(chan string, 1)
	go func() {
		_, out, _ := command(t, time.Now(), "", "topics", dir, "--for", "8s")
		listened <- out
	}()
	proposed := ""
	for proposed == "" {
		if err := publish(); err != nil {
			t.Fatal(err)
		}
		select {
		case proposed = <-listened:
		case <-time.After(time.Second):
		}
	}
	at := strings.Index(proposed, "\n[[sensor]]")
	if at < 0 {
		t.Fatalf("nothing is proposed:\n%s", proposed)
	}
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": text + proposed[at:]})
	must(t, time.Now(), "", "check", dir)

	shown := map[string]float64{}
	for deadline := time.Now().Add(60 * time.Second); len(shown) < len(shapes) && time.Now().Before(deadline); time.Sleep(time.Second) {
		if err := publish(); err != nil {
			t.Fatal(err)
		}
		shown = readingsOf(t, page, "bench ")
	}
	for _, s := range shapes {
		if got, ok := shown[s.sensor]; !ok || got != s.value {
			t.Errorf("%s: the page shows %v (%v), want %v", s.what, got, ok, s.value)
		}
	}
}

// readingsOf are the values that the page shows of sensors whose names begin so.
func readingsOf(t *testing.T, page, prefix string) map[string]float64 {
	t.Helper()
	answer, err := http.Get("http://" + page + "/now.json")
	if err != nil {
		t.Fatal(err)
	}
	defer answer.Body.Close() //nolint:errcheck // it was only read
	var now struct {
		Sensors []struct {
			Sensor string
			Value  *float64
		}
	}
	if err := json.NewDecoder(answer.Body).Decode(&now); err != nil {
		t.Fatal(err)
	}
	shown := map[string]float64{}
	for _, s := range now.Sensors {
		if s.Value != nil && strings.HasPrefix(s.Sensor, prefix) {
			shown[s.Sensor] = *s.Value
		}
	}
	return shown
}
