package main

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"parstead/cmd/parstead/racktest"
	"parstead/cmd/parstead/topics"
	"parstead/cmd/parstead/trial"
	"parstead/ingest"
	"parstead/light"

	mqtt "github.com/eclipse/paho.mqtt.golang"
)

// sensorsTalk is what topics has to tell: topics and payloads.
var sensorsTalk = [][2]string{
	{"rack/light", "85.5"},
	{"rack/upper/lux\"chip", `{"at":1772539200,"lux":1200,"battery":"3.1"}`},
	{"rack/unit", `{"l":"8000 lx"}`},
	{"rack/comma/temp", "23,4"},
	{"rack/door", "open"},
}

// chatter publishes twice a second until the test ends.
func chatter(t *testing.T, address string, talk [][2]string) {
	t.Helper()
	c := racktest.Client(t, address, "chatter")
	end, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(500 * time.Millisecond)
		defer tick.Stop()
		for {
			for _, x := range talk {
				c.Publish(x[0], 0, false, x[1])
			}
			select {
			case <-tick.C:
			case <-end:
				return
			}
		}
	}()
	t.Cleanup(func() { close(end); <-ended })
}

// tellsTopics demands that topics tells of the chatter, and that what it gives
// to paste can be pasted.
func tellsTopics(t *testing.T, dir string) {
	t.Helper()
	var list []topics.Arrival
	now := time.Now()
	if err := json.Unmarshal([]byte(must(t, now, "", "topics", dir, "--for", "3s", "--json")), &list); err != nil {
		t.Fatal(err)
	}
	want := []topics.Arrival{
		{Topic: "rack/comma/temp", Example: "23,4", Every: "1s", Wrong: `its [[sensor]] needs decimal_mark = ","`, Likely: true},
		{Topic: "rack/door", Example: "open", Every: "1s", Wrong: "no number in it"},
		{Topic: "rack/light", Example: "85.5", Every: "1s", Sensor: "quantum", Likely: true},
		{Topic: "rack/unit", Pointer: "/l", Example: "8000 lx", Every: "1s", Wrong: `its [[sensor]] needs suffix = "lx"`, Likely: true},
		{Topic: "rack/upper/lux\"chip", Pointer: "/battery", Example: "3.1", Every: "1s"},
		{Topic: "rack/upper/lux\"chip", Pointer: "/lux", Example: "1200", Every: "1s", Likely: true},
	}
	if fmt.Sprint(list) != fmt.Sprint(want) {
		t.Errorf("got  %v\nwant %v", list, want)
	}
	text := must(t, now, "", "topics", dir, "--for", "3s")
	narrow(t, text)
	_, blocks, found := strings.Cut(text, "\n\n[[sensor]]")
	if !found || !strings.Contains(text, "rack/light: 85.5, every 1s, sensor quantum\n") {
		t.Fatalf("%s", text)
	}
	path := filepath.Join(dir, "trial.toml")
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, append(before, "\n[[sensor]]"+blocks...), 0o600); err != nil {
		t.Fatal(err)
	}
	if status, out, talk := command(t, now, "", "check", dir); status != 0 {
		t.Errorf("with the blocks pasted: %s%s\n%s", out, talk, text)
	}
	read, err := trial.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	of := map[string]ingest.Feed{}
	for _, f := range read.Feeds {
		of[f.Topic+f.Value] = f
	}
	if f := of["rack/comma/temp"]; f.Number.Decimal != "," || f.Sensor.Measures != light.QuantityTemperature {
		t.Errorf("%+v", f)
	}
	if f := of["rack/unit/l"]; f.Number.Suffix != "lx" || f.Sensor.Measures != light.QuantityLux {
		t.Errorf("%+v", f)
	}
	if len(of) != 6 || !strings.Contains(text, "\n# value        = \"/battery\"\n") {
		t.Errorf("offered: %d\n%s", len(of), text)
	}
}

// What a sensor of the trial can't read stands first, with the mend; of what was
// kept nothing is offered that is not commented out.
func TestTopicsTellWhatCantBeRead(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, time.Now(), ownBroker)
	chatter(t, beside(t, dir, ingest.SystemClock()).BrokerAddress(), [][2]string{{"a/first", "21.5"}, {"rack/light", "85,5 µmol/m²/s"}})
	text := must(t, time.Now(), "", "topics", dir, "--for", "3s")
	narrow(t, text)
	one := strings.Join(strings.Fields(text), " ")
	if !strings.HasPrefix(one, "rack/light: 85,5 µmol/m²/s, every 1s, sensor quantum; a number with another decimal mark than the sensor's: let the sensor have suffix = \"µmol/m²/s\" and decimal_mark = \",\" a/first: 21.5") ||
		!strings.Contains(text, "What sensors can't read stands first.") || !strings.Contains(text, "\n# [[sensor]]\n# name         = \"a first\"\n") {
		t.Errorf("%s", text)
	}
}

func TestTopicsAsTheBroker(t *testing.T) {
	t.Parallel()
	address := racktest.FreeAddress(t)
	dir := rackFolder(t, time.Now(), fmt.Sprintf("listen = %q", address))
	go func() { // a sensor that is there before the broker
		for range 100 {
			c := mqtt.NewClient(mqtt.NewClientOptions().AddBroker("tcp://" + address).SetClientID("early").SetAutoReconnect(false))
			if token := c.Connect(); token.WaitTimeout(time.Second) && token.Error() == nil {
				c.Publish("rack/light", 1, false, "85.5").WaitTimeout(time.Second)
				c.Disconnect(0)
				return
			}
			time.Sleep(20 * time.Millisecond)
		}
	}()
	text := must(t, time.Now(), "", "topics", dir, "--for", "2s")
	if !strings.Contains(text, "rack/light: 85.5, sensor quantum") || !strings.Contains(text, "Each number belongs to a sensor.") {
		t.Errorf("%s", text)
	}
	if status, _, talk := command(t, time.Now(), "", "topics", dir, "--for", "1h"); status != 2 || strings.Count(talk, "\n") != 1 {
		t.Errorf("for an hour: %d, %s", status, talk)
	}
}

func TestTopicsBesideTheDaemon(t *testing.T) {
	t.Parallel()
	dir := rackFolder(t, time.Now(), ownBroker)
	chatter(t, beside(t, dir, ingest.SystemClock()).BrokerAddress(), sensorsTalk)
	tellsTopics(t, dir)
}

func TestTopicsOfAnotherBroker(t *testing.T) {
	t.Parallel()
	b := racktest.NewForeignBroker(t, 0)
	dir := rackFolder(t, time.Now(), fmt.Sprintf("url = \"tcp://%s\"", b.Address))
	chatter(t, b.Address, sensorsTalk)
	tellsTopics(t, dir)
	b.Stop()
	status, out, talk := command(t, time.Now(), "", "topics", dir, "--for", "1s")
	why := strings.Contains(talk, "refused") || strings.Contains(talk, "timeout") // on a busy machine
	if status != 1 || out != "" || !strings.Contains(talk, "no connection to tcp://"+b.Address) || !why {
		t.Errorf("without the broker: %d, %s, %s", status, out, talk)
	}
}

// A broker need not let everyone listen to everything: it answers with a failure
// (MQTT 3.1.1, section 3.9.3), or closes the connection.
func TestTopicsOfABrokerThatRefuses(t *testing.T) {
	t.Parallel()
	for answer, says := range map[string]string{
		"\x90\x03\x00\x01\x80": "give anonymous clients the right to read it",
		"":                     "closed the connection",
	} {
		address := refusing(t, answer)
		dir := rackFolder(t, time.Now(), fmt.Sprintf("url = \"tcp://%s\"", address))
		status, out, talk := command(t, time.Now(), "", "topics", dir, "--for", "1s")
		lines := strings.Split(strings.TrimSpace(talk), "\n")
		if last := lines[len(lines)-1]; status != 1 || out != "" || !strings.Contains(last, says) || !strings.Contains(last, "as parstead topics must") {
			t.Errorf("answer %q: %d, %s, %s", answer, status, out, talk)
		}
	}
}

// refusing is a broker that answers every subscription so, or hangs up without
// an answer.
func refusing(t *testing.T, answer string) (address string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	var all sync.WaitGroup
	t.Cleanup(func() { _ = l.Close(); all.Wait() })
	all.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			all.Go(func() {
				defer func() { _ = c.Close() }()
				for in := bufio.NewReader(c); ; {
					first, err := in.ReadByte()
					if err != nil {
						return
					}
					n, err := binary.ReadUvarint(in)
					if err != nil {
						return
					}
					if _, err := in.Discard(int(n)); err != nil {
						return
					}
					switch {
					case first == 0x10:
						_, err = c.Write([]byte{0x20, 2, 0, 0})
					case first == 0x82 && answer != "":
						_, err = c.Write([]byte(answer))
					default:
						return
					}
					if err != nil {
						return
					}
				}
			})
		}
	})
	return l.Addr().String()
}
