package broker

import (
	"fmt"
	"runtime"
	"strings"
	"testing"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"
)

// persistent connects with a session that outlasts the connection.
func persistent(t *testing.T, address, id string) *raw {
	t.Helper()
	c := dial(t, address)
	c.send(packet(0x10, append(append(text("MQTT"), 4, 0, 0, 60), text(id)...)))
	if first, rest, err := c.receive(patience); err != nil || first != 0x20 || rest[1] != 0 {
		t.Fatalf("%s: CONNACK %x %v, %v", id, first, rest, err)
	}
	return c
}

// pace is how many messages a second a sensor has acknowledged, sent one by one.
func (c *raw) pace(n int) float64 {
	c.t.Helper()
	begun := time.Now()
	for i := range n {
		c.send(publishPacket("rack/upper", []byte("1234.5"), 1, uint16(i+1), 0))
		c.puback()
	}
	return float64(n) / time.Since(begun).Seconds()
}

// pong waits until all that was sent has been dealt with.
func (c *raw) pong() {
	c.t.Helper()
	c.send(packet(0xC0, nil))
	if first, _, err := c.receive(patience); err != nil || first != 0xD0 {
		c.t.Fatalf("PINGRESP due, got %x, %v", first, err)
	}
}

// enough is a pace, in messages a second, far above that of eight sensors with a
// message a second each, and far below what a loaded machine of two cores has.
const enough = 200

func heap() float64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return float64(m.HeapAlloc) / (1 << 20)
}

// Retained messages of 4 kB on 4,000 topics, and of 60 kB on as many as there is time
// for: the store stays within its bytes, none that is large is kept, what is there may
// be replaced and cleared, and the sensor's messages flow.
func TestRetainedBytesAreBounded(t *testing.T) { // alone: it measures
	const topics = 4000
	b := start(t, Config{Taker: obliging{}, Rate: 1e6})
	sensor := login(t, b.Addr().String(), "sensor", "", "")
	quiet, before := sensor.pace(500), heap()
	c := login(t, b.Addr().String(), "loud", "", "")
	payload := []byte(strings.Repeat("x", maxKept-10))
	for i := range topics {
		c.send(publishPacket(fmt.Sprint("x/", i), payload, 0, 0, retain))
	}
	large := []byte(strings.Repeat("x", 60_000))
	for i := range topics / 8 {
		c.send(publishPacket(fmt.Sprint("large/", i), large, 0, 0, retain))
	}
	c.pong()
	if _, ok := b.server.Topics.Retained.Get("large/0"); ok {
		t.Error("a message of 60 kB is kept")
	}
	if h := &b.hook.retained; h.sum > retainedBytes || len(h.size) < 1000 {
		t.Errorf("%d bytes of %d topics kept", h.sum, len(h.size))
	}
	if grown := heap() - before; grown > 64 {
		t.Errorf("the heap has grown by %.0f MB", grown)
	} else {
		t.Logf("the heap has grown by %.0f MB", grown)
	}
	if pace := sensor.pace(500); pace < enough {
		t.Errorf("%.0f messages a second, %.0f before", pace, quiet)
	}
	c.send(publishPacket("deep/"+strings.Repeat("/", 60_000), []byte("1"), 1, 2, retain))
	c.puback()
	c.pong()
	if _, ok := b.server.Topics.Retained.Get("deep/" + strings.Repeat("/", 60_000)); ok {
		t.Error("a topic of 60,000 levels was kept")
	}
	for i := range topics {
		c.send(publishPacket(fmt.Sprint("x/", i), nil, 0, 0, retain))
	}
	c.send(publishPacket("kept", []byte("1"), 1, 3, retain))
	c.puback()
	c.pong()
	if _, ok := b.server.Topics.Retained.Get("kept"); !ok || len(b.hook.retained.size) != 1 {
		t.Errorf("%d topics are kept after all were cleared", len(b.hook.retained.size))
	}
}

// Four hundred sessions that are left and never fetched: the sensor's messages flow
// as before, and little is kept.
func TestSessionsThatAreLeftAreBounded(t *testing.T) { // alone: it measures
	b := start(t, Config{Taker: obliging{}, Rate: 1e6})
	address := b.Addr().String()
	sensor := login(t, address, "sensor", "", "")
	quiet, before := sensor.pace(500), heap()
	for i := range 400 {
		c := persistent(t, address, fmt.Sprint("left", i))
		c.send(subscribePacket("#", 1))
		_, _, _ = c.receive(patience) // an answer, or the end
		_ = c.conn.Close()
	}
	big := login(t, address, "big", "", "")
	for range 200 {
		big.send(publishPacket("x", []byte(strings.Repeat("x", 60_000)), 1, 1, 0))
		big.puback()
	}
	busy := sensor.pace(2000)
	subscribed, waiting := 0, 0
	for _, c := range b.server.Clients.GetAll() {
		if c.State.Subscriptions.Len() > 0 {
			subscribed++
		}
		waiting = max(waiting, c.State.Inflight.Len())
	}
	t.Logf("%.0f messages a second, %.0f before; %d sessions, %d subscribed, at most %d messages wait; the heap has grown by %.0f MB",
		busy, quiet, b.server.Clients.Len(), subscribed, waiting, heap()-before)
	if busy < enough || subscribed > maxSubscribers || waiting > maxWaiting || waiting == 0 || b.server.Clients.Len() > maxAway+10 {
		t.Error("sessions that nobody fetches are not bounded")
	}
	if grown := heap() - before; grown > 64 {
		t.Errorf("the heap has grown by %.0f MB", grown)
	}
}

// Connections without a word, more than one address may have: the rest are closed,
// and one is free again once another has gone.
func TestConnectionsOfOneAddressAreBounded(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: obliging{}})
	address := b.Addr().String()
	held := make([]*raw, perAddress)
	for i := range held {
		held[i] = login(t, address, fmt.Sprint("mute", i), "", "")
	}
	for range 200 {
		dial(t, address).closed()
	}
	_ = held[0].conn.Close()
	for begun := time.Now(); ; time.Sleep(10 * time.Millisecond) {
		c := dial(t, address)
		c.send(connectPacket("next", "", ""))
		if first, _, err := c.receive(patience); err == nil && first == 0x20 {
			return
		}
		if time.Since(begun) > patience {
			t.Fatal("no room after one has gone")
		}
	}
}

// A client that subscribes to more than one may is dropped; others are not.
func TestSubscriptionsAreBounded(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: obliging{}})
	address := b.Addr().String()
	login(t, address, "other", "", "").subscribe("rack/#")
	long := login(t, address, "long", "", "")
	long.send(subscribePacket(strings.Repeat("x", maxFilter+1), 1))
	long.closed()
	many := login(t, address, "many", "", "")
	for i := range maxFilters {
		many.subscribe(fmt.Sprint("rack/", i))
	}
	many.send(subscribePacket("rack/more", 1))
	many.closed()
}

// MQTT 3.1.1, 4.7.2: filters that begin with a wildcard do not match topics that
// begin with $; those that name the first level do.
func TestDollarTopicsAreNotMatchedByWildcards(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: obliging{}})
	address := b.Addr().String()
	publish := func(topic, payload string) {
		t.Helper()
		if err := b.server.Publish(topic, []byte(payload), true, 1); err != nil {
			t.Fatal(err)
		}
	}
	wild := login(t, address, "wild", "", "")
	filters := []string{"#", "+/y", "+/#", "+/+", "$share/g/#", "$share/g/+/y", "/#", "+"}
	for _, f := range filters {
		wild.subscribe(f)
	}
	named := login(t, address, "named", "", "")
	named.subscribe("$x/#")
	named.subscribe("$share/h/$x/+")
	publish("$x/y", "1")
	if first, rest, err := named.receive(patience); err != nil || first&0xf0 != 0x30 || !strings.Contains(string(rest), "$x/y") {
		t.Errorf("%x %q, %v", first, rest, err)
	}
	wild.silent(300 * time.Millisecond)
	late := login(t, address, "late", "", "")
	for _, f := range filters { // what is kept neither
		late.send(subscribePacket(f, 1))
		if first, rest, err := late.receive(patience); err != nil || first != 0x90 {
			t.Fatalf("%s: %x %q, %v", f, first, rest, err)
		}
	}
	late.silent(300 * time.Millisecond)
}

// What the library is asked for a topic that begins with $ keeps the shared filters
// that name its first level.
func TestSharedFiltersOfDollarTopics(t *testing.T) {
	t.Parallel()
	subs := &mqtt.Subscribers{Shared: map[string]map[string]packets.Subscription{
		"$share/g/#": nil, "$share/g/+/y": nil, "$share/g/$x/#": nil,
	}}
	(&hook{}).OnSelectSubscribers(subs, packets.Packet{TopicName: "$x/y"})
	if _, kept := subs.Shared["$share/g/$x/#"]; !kept || len(subs.Shared) != 1 {
		t.Errorf("%v", subs.Shared)
	}
}
