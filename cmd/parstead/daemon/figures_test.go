package daemon

import (
	"context"
	"errors"
	"log/slog"
	"maps"
	"math"
	"net"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/racktest"
	"parstead/light"
)

// Each bin's light stands at the broker as a plain number, once for each change; what
// is no longer known is taken away, what could not be published is tried again.
func TestLightAsPlainNumbers(t *testing.T) {
	t.Parallel()
	known := page.Figure{Known: true, DLI: 2}
	bin := page.Bin{Bin: light.Bin{Name: "upper shelf"}, Cells: []page.Cell{{Today: known}, {Today: page.Figure{Known: true, DLI: 3.25}}, {}}}
	state := &page.State{Trial: "spring/1", Bins: []page.Bin{bin}}
	var broken error
	sent := map[string]string{}
	f := figures{
		state: func(context.Context) (*page.State, error) { return state, nil },
		log:   slog.New(slog.DiscardHandler),
		publish: func(topic string, payload []byte) error {
			if broken == nil {
				sent[topic] = string(payload)
			}
			return broken
		},
	}
	keep := func(want map[string]string) {
		t.Helper()
		f.keep(t.Context())
		if d := cmp.Diff(want, maps.Clone(sent)); d != "" {
			t.Error(d)
		}
		clear(sent)
	}
	broken = errors.New("away")
	keep(map[string]string{})
	broken = nil
	keep(map[string]string{"parstead/spring-1/dli/upper-shelf": "2.625", "parstead/spring-1/dli_last_day/upper-shelf": ""})
	keep(map[string]string{})
	state.Bins[0].Cells[0].Yesterday = known
	keep(map[string]string{"parstead/spring-1/dli_last_day/upper-shelf": "2.000"})
	state.Bins = nil
	keep(map[string]string{"parstead/spring-1/dli/upper-shelf": "", "parstead/spring-1/dli_last_day/upper-shelf": ""})
	keep(map[string]string{})
}

// At mosquitto the light stands retained, for a program that subscribes later and reads
// plain numbers: fourteen hours of 100.1 µmol m⁻² s⁻¹ on average are 5.045 mol m⁻².
func TestLightStandsAtAnotherBroker(t *testing.T) {
	t.Parallel()
	racktest.NeedTool(t, "mosquitto_sub")
	b := racktest.NewForeignBroker(t, 0)
	dir := foreignTrial(t, b.Address, "")
	racktest.Lived(t, dir, racktest.Midday, 3, 100)
	watchForeign(t, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	host, port, err := net.SplitHostPort(b.Address)
	if err != nil {
		t.Fatal(err)
	}
	got := ""
	racktest.Eventually(t, "the light stands there", func() bool {
		out, err := exec.Command("mosquitto_sub", "-h", host, "-p", port, "-t", "parstead/+/dli_last_day/#", "-C", "2", "-W", "2", "-F", "%r %t %p").Output()
		got = string(out)
		return err == nil && strings.Count(got, "1 parstead/") == 2 // kept, not just then published
	})
	for line := range strings.Lines(got) {
		f := strings.Fields(line)
		light, err := strconv.ParseFloat(f[2], 64)
		if f[0] != "1" || !strings.HasPrefix(f[1], "parstead/test-rack/dli_last_day/") || err != nil || math.Abs(light/5.045-1) > 0.01 {
			t.Errorf("%q", line)
		}
	}
}
