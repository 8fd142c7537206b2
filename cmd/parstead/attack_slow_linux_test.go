//go:build slow

package main

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/eclipse/paho.mqtt.golang/packets"

	"parstead/cmd/parstead/racktest"
)

// The limits of the service file, which the daemon is started under.
const (
	goLimit  = "GOMEMLIMIT=192MiB"
	killedAt = 512 // MiB, of MemoryMax
)

// attacker is a client with the sensors' password, from an address of its own.
type attacker struct{ net.Conn }

// attack connects from 127.0.0.host; nil where the broker turns it away.
func attack(broker string, host int, id string, session bool) *attacker {
	from := &net.TCPAddr{IP: net.IPv4(127, 0, byte(host/250), byte(host%250+2))}
	conn, err := (&net.Dialer{LocalAddr: from, Timeout: 10 * time.Second}).Dial("tcp", broker)
	if err != nil {
		return nil
	}
	_ = conn.SetDeadline(time.Now().Add(30 * time.Second))
	c := packets.NewControlPacket(packets.Connect).(*packets.ConnectPacket)
	c.ProtocolName, c.ProtocolVersion, c.Keepalive = "MQTT", 4, 600
	c.ClientIdentifier, c.CleanSession = id, !session
	c.UsernameFlag, c.PasswordFlag, c.Username, c.Password = true, true, "rack", []byte("s3cret")
	a := &attacker{conn}
	answer, err := packets.ControlPacket(nil), c.Write(conn)
	if err == nil {
		answer, err = packets.ReadPacket(conn)
	}
	if ack, ok := answer.(*packets.ConnackPacket); err != nil || !ok || ack.ReturnCode != 0 {
		_ = conn.Close()
		return nil
	}
	return a
}

func (a *attacker) publish(topic string, size int, retained bool) error {
	p := packets.NewControlPacket(packets.Publish).(*packets.PublishPacket)
	p.TopicName, p.Payload, p.Retain = topic, []byte(strings.Repeat("x", size)), retained
	return p.Write(a)
}

func (a *attacker) subscribe(filters ...string) error {
	s := packets.NewControlPacket(packets.Subscribe).(*packets.SubscribePacket)
	s.MessageID, s.Topics, s.Qoss = 1, filters, make([]byte, len(filters))
	for i := range s.Qoss {
		s.Qoss[i] = 1
	}
	return s.Write(a)
}

// attacks are what clients with the sensors' password do to have the daemon hold much
// for them; each gives up where it is turned away.
var attacks = []struct {
	name string
	do   func(broker string)
}{
	{"4 kB retained on 10,000 topics, 60 kB on 5,000", func(broker string) {
		a := attack(broker, 1, "loud", false)
		for i := range 15_000 {
			size := 4_000
			if i >= 10_000 {
				size = 60_000
			}
			if a == nil || a.publish(fmt.Sprint("x/", i), size, true) != nil {
				a = attack(broker, 1, fmt.Sprint("loud", i), false)
			}
		}
	}},
	{"1,000 sessions left with a subscription to all", func(broker string) {
		for i := range 1000 {
			if a := attack(broker, 2+i%20, fmt.Sprint("left", i), true); a != nil {
				_ = a.subscribe("#")
				_ = a.Close()
			}
		}
	}},
	{"1,500 connections from 40 addresses, each in the middle of a packet of 60 kB", func(broker string) {
		var held []*attacker
		for i := range 1500 {
			if a := attack(broker, 30+i%40, fmt.Sprint("half", i), false); a != nil {
				_, _ = a.Write(append([]byte{0x30, 0xe0, 0xd4, 0x03, 0, 1, 'x'}, make([]byte, 59_000)...)) // of 60,000 bytes
				held = append(held, a)
			}
		}
		for _, a := range held {
			_ = a.Close()
		}
	}},
	{"200 listeners to all that never read, from 20 addresses, while messages of 60 kB come for 20 s", func(broker string) {
		var held []*attacker
		for i := range 200 {
			if a := attack(broker, 80+i%20, fmt.Sprint("deaf", i), true); a != nil {
				_ = a.subscribe("#", "x/#", "+/+")
				held = append(held, a)
			}
		}
		until := time.Now().Add(20 * time.Second)
		for a, i := (*attacker)(nil), 0; time.Now().Before(until); i++ {
			if a == nil || a.publish("x/y", 60_000, false) != nil {
				a = attack(broker, 101+i%10, fmt.Sprint("talks", i%10), false)
			}
		}
		for _, a := range held {
			_ = a.Close()
		}
	}},
	{"20 clients that publish payloads of 60 kB to a sensor's topic without a pause for 10 s", func(broker string) {
		var wait sync.WaitGroup
		until := time.Now().Add(10 * time.Second)
		for i := range 20 {
			wait.Go(func() {
				for a := (*attacker)(nil); time.Now().Before(until); {
					if a == nil || a.publish("rack/upper", 60_000, false) != nil {
						a = attack(broker, 120+i, fmt.Sprint("flood", i), false)
					}
				}
			})
		}
		wait.Wait()
	}},
}

// Whatever clients with the sensors' password do, the process stays under the limit of
// the service file at which it would be killed, and the sensor's own messages are
// acknowledged.
func TestMemoryUnderAttack(t *testing.T) { // alone: it measures
	dir := racktest.SmallTrial(t, "")
	page := listenHere(t, dir)
	broker := racktest.FreeAddress(t)
	config := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(config)
	if err == nil {
		err = os.WriteFile(config, []byte(strings.Replace(string(text), "[broker]\nlisten = \"127.0.0.1:0\"", "[broker]\nlisten = \""+broker+"\"\nusername = \"rack\"\npassword_file = \"pw\"", 1)), 0o600)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "pw"), []byte("s3cret\n"), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	p := program(t, []string{goLimit}, "run", dir)
	racktest.Eventually(t, "it is alive", func() bool { return answers(t, "http://"+page+"/alive") })
	stop, taken, slowest := sensorThrough(t, broker)
	at := memoryOf(t, p)
	t.Logf("at rest: %.0f MiB resident, %.0f anonymous", at["VmRSS"]/1024, at["RssAnon"]/1024)
	for _, a := range attacks {
		most, done := 0.0, make(chan struct{})
		before := taken.Load()
		begun := time.Now()
		go func() {
			defer close(done)
			a.do(broker)
		}()
		for over := false; !over; {
			select {
			case <-done:
				over = true
			case <-time.After(20 * time.Millisecond): // a sample, not a wait for something
			}
			most = max(most, memoryOf(t, p)["VmRSS"]/1024)
		}
		t.Logf("%s: %.0f MiB resident at most, in %.0f s; %d of the sensor's messages acknowledged", a.name, most, time.Since(begun).Seconds(), taken.Load()-before)
		if most > killedAt || most == 0 {
			t.Errorf("%s: %.0f MiB, and it is killed at %d", a.name, most, killedAt)
		}
	}
	stop()
	t.Logf("the most in all: %.0f MiB; the slowest acknowledgement took %.1f s", memoryOf(t, p)["VmHWM"]/1024, time.Duration(slowest.Load()).Seconds())
	answer, err := http.Get("http://" + page + "/ready")
	if err != nil {
		t.Fatal(err)
	}
	body, _ := io.ReadAll(answer.Body)
	_ = answer.Body.Close()
	if answer.StatusCode != http.StatusOK {
		t.Errorf("after the attacks: %s %s", answer.Status, body)
	}
}

// sensorThrough is a sensor that sends one reading after another, a tenth of a second
// apart, until it is stopped; each has to be acknowledged within a minute.
func sensorThrough(t *testing.T, broker string) (stop func(), taken, slowest *atomic.Int64) {
	t.Helper()
	chip := paho.NewClient(paho.NewClientOptions().AddBroker("tcp://" + broker).SetClientID("sensor").SetUsername("rack").SetPassword("s3cret"))
	racktest.Eventually(t, "the broker takes the sensor", func() bool {
		token := chip.Connect()
		return token.WaitTimeout(10*time.Second) && token.Error() == nil
	})
	taken, slowest = &atomic.Int64{}, &atomic.Int64{}
	end, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		for i := 0; ; i++ {
			begun := time.Now()
			if token := chip.Publish("rack/lower", 1, false, fmt.Sprint(100+i%7)); !token.WaitTimeout(time.Minute) || token.Error() != nil {
				t.Errorf("the sensor's message %d is not acknowledged within a minute: %v", i, token.Error())
				return
			}
			slowest.Store(max(slowest.Load(), int64(time.Since(begun))))
			taken.Add(1)
			select {
			case <-end:
				return
			case <-time.After(100 * time.Millisecond): // a sensor's pace
			}
		}
	}()
	return func() { close(end); <-ended; chip.Disconnect(100) }, taken, slowest
}
