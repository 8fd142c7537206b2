package daemon

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	mqtt "github.com/eclipse/paho.mqtt.golang"

	"parstead/cmd/parstead/racktest"
	"parstead/light/watch"
)

// rackAt is a trial at another broker, called name there and in its file.
func rackAt(t *testing.T, address, name, more string) string {
	t.Helper()
	dir := foreignTrial(t, address, "")
	path := filepath.Join(dir, "trial.toml")
	text := strings.NewReplacer("\"test rack\"", "\""+name+"\"", "client_id = \"same\"", "client_id = \""+name+more+"\"").Replace(racktest.Text(t, dir, "trial.toml"))
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir
}

// linkTold waits until the daemon holds a condition of the broker that says so; "" for none.
func linkTold(t *testing.T, r *Running, says string) {
	t.Helper()
	last := ""
	defer func() {
		if t.Failed() {
			t.Logf("last: %q", last)
		}
	}()
	racktest.Eventually(t, "it is told: "+says, func() bool {
		c, ok := r.linkCondition(racktest.Midday.Add(time.Hour))
		last = c.Says
		return ok == (says != "") && (!ok || c.Kind == watch.Broker && c.Do != "" && strings.Contains(c.Says, says))
	})
}

// Two trials at one broker that count the same light sensors are told so, each of the
// other, for as long as both are there; and two that have one name.
func TestTwoTrialsThatCountOneSensor(t *testing.T) {
	t.Parallel()
	b := racktest.NewForeignBroker(t, 0)
	clock := racktest.NewClock(racktest.Midday).Ingest()
	north := watchForeign(t, rackAt(t, b.Address, "north", ""), Options{Clock: clock})
	linkTold(t, north, "")
	south := watchForeign(t, rackAt(t, b.Address, "south", ""), Options{Clock: clock})
	linkTold(t, north, `"south" at the same broker counts this trial's light sensors as its own: rack/upper, rack/lower`)
	linkTold(t, south, `"north" at the same broker counts`)
	if err := south.Stop(); err != nil {
		t.Error(err)
	}
	linkTold(t, north, "")

	// One that dies says no goodbye: the broker does it.
	other := mqtt.NewClientOptions().AddBroker("tcp://"+b.Address).SetClientID("dies").SetWill("parstead/north/present/dies", "", 1, true)
	conn := mqtt.NewClient(other)
	if token := conn.Connect(); !token.WaitTimeout(20*time.Second) || token.Error() != nil {
		t.Fatal(token.Error())
	}
	conn.Publish("parstead/north/present/dies", 1, true, `{"trial":"north","topics":["elsewhere"]}`)
	linkTold(t, north, `is called "north" too`)
	racktest.Client(t, b.Address, "dies") // takes the session over: the will goes out
	linkTold(t, north, "")
}

// A sensor that both are meant to count is said to be shared in one of the two.
func TestASharedSensorIsNoSlip(t *testing.T) {
	t.Parallel()
	b := racktest.NewForeignBroker(t, 0)
	clock := racktest.NewClock(racktest.Midday).Ingest()
	north := watchForeign(t, rackAt(t, b.Address, "north", ""), Options{Clock: clock})
	dir := rackAt(t, b.Address, "south", "")
	text := strings.Replace(racktest.Text(t, dir, "trial.toml"), `topic = "rack/upper"`, "topic = \"rack/upper\"\nshared = true", 1)
	racktest.WriteFiles(t, dir, map[string]string{"trial.toml": text})
	watchForeign(t, dir, Options{Clock: clock})
	linkTold(t, north, "as its own: rack/lower.")
}
