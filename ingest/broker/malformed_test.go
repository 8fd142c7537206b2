package broker

import (
	"fmt"
	"net"
	"slices"
	"testing"
)

// malformed are packets of each type of MQTT 3.1.1 (table 2.1) and 5 that no
// client may send.
var malformed = []struct {
	kind   string
	name   string
	packet []byte
	only   byte // version in whose sessions it is malformed; 0: whenever it comes
	passes bool // in a session the library overlooks it
}{
	{kind: "reserved 0", name: "empty", packet: []byte{0x00, 0}},
	{kind: "reserved 0", name: "with a body", packet: packet(0x0F, []byte("odd"))},

	{kind: "CONNECT", name: "a second one", packet: connectPacket("again", "", ""), only: 4},
	{kind: "CONNECT", name: "wrong flags", packet: packet(0x1F, connectBody)},
	{kind: "CONNECT", name: "empty", packet: packet(0x10, nil)},
	{kind: "CONNECT", name: "cut short", packet: packet(0x10, connectBody[:9])},
	{kind: "CONNECT", name: "another protocol", packet: packet(0x10, append(append(text("HTTP"), 4, 2, 0, 60), text("odd")...))},
	{kind: "CONNECT", name: "a level of the future", packet: packet(0x10, append(append(text("MQTT"), 99, 2, 0, 60), text("odd")...))},
	{kind: "CONNECT", name: "the reserved flag", packet: packet(0x10, append(append(text("MQTT"), 4, 3, 0, 60), text("odd")...))},
	{kind: "CONNECT", name: "a will of QoS 3", packet: packet(0x10, slices.Concat(text("MQTT"), []byte{4, 2 | 4 | 0x18, 0, 60}, text("odd"), text("a"), text("b")))},
	{kind: "CONNECT", name: "a password left out", packet: packet(0x10, append(append(text("MQTT"), 4, 0xC2, 0, 60), text("odd")...))},
	{kind: "CONNECT", name: "an id longer than the packet", packet: packet(0x10, append(append(text("MQTT"), 4, 2, 0, 60), 0xFF, 0xFF, 'a'))},

	{kind: "CONNACK", name: "from a client", packet: packet(0x20, []byte{0, 0})},
	{kind: "CONNACK", name: "empty", packet: packet(0x20, nil)},

	{kind: "PUBLISH", name: "QoS 3", packet: publishPacket("rack/a", []byte("1"), 3, 1, 0)},
	{kind: "PUBLISH", name: "empty", packet: packet(0x30, nil)},
	{kind: "PUBLISH", name: "a topic longer than the packet", packet: packet(0x30, []byte{0xFF, 0xFF, 'a'})},
	{kind: "PUBLISH", name: "no packet identifier", packet: packet(0x32, text("rack/a"))},
	{kind: "PUBLISH", name: "packet identifier 0", packet: publishPacket("rack/a", []byte("1"), 1, 0, 0)},
	{kind: "PUBLISH", name: "no topic", packet: publishPacket("", []byte("1"), 0, 0, 0), only: 4},
	{kind: "PUBLISH", name: "a wildcard", packet: publishPacket("rack/#", []byte("1"), 0, 0, 0)},
	{kind: "PUBLISH", name: "a zero in the topic", packet: publishPacket("rack/\x00", []byte("1"), 0, 0, 0)},
	{kind: "PUBLISH", name: "no UTF-8", packet: publishPacket("rack/\xff\xfe", []byte("1"), 0, 0, 0)},
	{kind: "PUBLISH", name: "a second time at QoS 0", packet: publishPacket("rack/a", []byte("1"), 0, 0, dup)},
	{kind: "PUBLISH", name: "properties longer than the packet", packet: packet(0x30, append(text("rack/a"), 0x7F)), only: 5},
	{kind: "PUBLISH", name: "an unknown property", packet: packet(0x30, append(text("rack/a"), 2, 0x7F, 0)), only: 5},
	{kind: "PUBLISH", name: "an alias nobody gave", packet: packet(0x30, append(text(""), 3, 0x23, 0, 9)), only: 5},

	{kind: "PUBACK", name: "wrong flags", packet: packet(0x4F, []byte{0, 1})},
	{kind: "PUBACK", name: "empty", packet: packet(0x40, nil)},
	{kind: "PUBACK", name: "half an identifier", packet: packet(0x40, []byte{0})},
	{kind: "PUBREC", name: "wrong flags", packet: packet(0x5F, []byte{0, 1})},
	{kind: "PUBREC", name: "empty", packet: packet(0x50, nil)},
	{kind: "PUBREC", name: "half an identifier", packet: packet(0x50, []byte{0})},
	{kind: "PUBREL", name: "wrong flags", packet: packet(0x60, []byte{0, 1})},
	{kind: "PUBREL", name: "empty", packet: packet(0x62, nil)},
	{kind: "PUBREL", name: "half an identifier", packet: packet(0x62, []byte{0})},
	{kind: "PUBCOMP", name: "wrong flags", packet: packet(0x7F, []byte{0, 1})},
	{kind: "PUBCOMP", name: "empty", packet: packet(0x70, nil)},
	{kind: "PUBCOMP", name: "half an identifier", packet: packet(0x70, []byte{0})},

	{kind: "SUBSCRIBE", name: "wrong flags", packet: packet(0x80, subscribePacket("rack/a", 1)[2:])},
	{kind: "SUBSCRIBE", name: "empty", packet: packet(0x82, nil)},
	{kind: "SUBSCRIBE", name: "no filter", packet: packet(0x82, []byte{0, 1})},
	{kind: "SUBSCRIBE", name: "no QoS", packet: packet(0x82, append([]byte{0, 1}, text("rack/a")...)), only: 4},
	{kind: "SUBSCRIBE", name: "QoS 3", packet: subscribePacket("rack/a", 3), only: 4},
	{kind: "SUBSCRIBE", name: "packet identifier 0", packet: packet(0x82, append(append([]byte{0, 0}, text("rack/a")...), 1))},
	{kind: "SUBSCRIBE", name: "a filter longer than the packet", packet: packet(0x82, []byte{0, 1, 0xFF, 0xFF, 'a'}), only: 4},
	{kind: "SUBACK", name: "from a client", packet: packet(0x90, []byte{0, 1, 0})},
	{kind: "UNSUBSCRIBE", name: "wrong flags", packet: packet(0xA0, append([]byte{0, 1}, text("rack/a")...))},
	{kind: "UNSUBSCRIBE", name: "empty", packet: packet(0xA2, nil)},
	{kind: "UNSUBSCRIBE", name: "no filter", packet: packet(0xA2, []byte{0, 1})},
	{kind: "UNSUBSCRIBE", name: "a filter longer than the packet", packet: packet(0xA2, []byte{0, 1, 0xFF, 0xFF, 'a'}), only: 4},
	{kind: "UNSUBACK", name: "from a client", packet: packet(0xB0, []byte{0, 1})},

	{kind: "PINGREQ", name: "wrong flags", packet: packet(0xC1, nil)},
	{kind: "PINGREQ", name: "with a body", packet: packet(0xC0, []byte{1}), passes: true},
	{kind: "PINGRESP", name: "from a client", packet: packet(0xD0, nil)},
	{kind: "DISCONNECT", name: "wrong flags", packet: packet(0xE1, nil)},
	{kind: "DISCONNECT", name: "with a body", packet: packet(0xE0, []byte{1, 2, 3}), only: 4},
	{kind: "DISCONNECT", name: "properties longer than the packet", packet: packet(0xE0, []byte{0, 0x7F}), only: 5},
	{kind: "AUTH", name: "which is of version 5", packet: packet(0xF0, nil), only: 4},
	{kind: "AUTH", name: "wrong flags", packet: packet(0xF1, nil)},
	{kind: "AUTH", name: "unasked for", packet: packet(0xF0, []byte{0x18, 0}), only: 5, passes: true},
	{kind: "AUTH", name: "properties longer than the packet", packet: packet(0xF0, []byte{0x18, 0x7F}), only: 5},
}

var connectBody = append(append(text("MQTT"), 4, 2, 0, 60), text("odd")...)

// greet opens a connection, and a session of a version of MQTT: 4 is 3.1.1, 5 is
// 5, 0 for none yet.
func greet(t *testing.T, address string, level byte) *raw {
	t.Helper()
	c := dial(t, address)
	switch level {
	case 4:
		c.send(packet(0x10, connectBody))
	case 5: // with no properties
		c.send(packet(0x10, append(append(text("MQTT"), 5, 2, 0, 60, 0), text("odd5")...)))
	default:
		return c
	}
	if first, rest, err := c.receive(patience); err != nil || first != 0x20 || rest[1] != 0 {
		t.Fatalf("CONNACK %x %x, %v", first, rest, err)
	}
	return c
}

// Whoever sends one is dropped, what it sent is not taken, and everyone else is
// served as before.
func TestAMalformedPacketOfEachTypeStopsNobodyElse(t *testing.T) {
	t.Parallel()
	lengths := []struct {
		name    string
		rest    []byte
		hangsUp bool
	}{
		{"a length that never ends", []byte{0xFF, 0xFF, 0xFF, 0xFF, 0xFF}, false},
		{"a length beyond the limit", []byte{0xFF, 0xFF, 0xFF, 0x7F}, false},
		{"longer than what comes", []byte{100, 0, 1, 2}, true},
	}
	for _, m := range malformed {
		for level, when := range map[byte]string{0: "first of all", 4: "in a session of 3.1.1", 5: "in a session of 5"} {
			if m.only != 0 && m.only != level {
				continue
			}
			t.Run(fmt.Sprintf("%s, %s, %s", m.kind, m.name, when), func(t *testing.T) {
				t.Parallel()
				stopsNobodyElse(t, level, m.packet, m.passes && level > 0)
			})
		}
	}
	for first := 0; first < 0x100; first += 0x10 {
		for _, l := range lengths {
			for _, level := range []byte{0, 4} {
				t.Run(fmt.Sprintf("type %d, %s, level %d", first>>4, l.name, level), func(t *testing.T) {
					t.Parallel()
					flags := 0
					if kind := first >> 4; kind == 6 || kind == 8 || kind == 10 { // PUBREL, SUBSCRIBE, UNSUBSCRIBE
						flags = 2
					}
					stopsNobodyElse(t, level, append([]byte{byte(first | flags)}, l.rest...), l.hangsUp)
				})
			}
		}
	}
}

func stopsNobodyElse(t *testing.T, level byte, odd []byte, stays bool) {
	t.Helper()
	taker := newHold()
	taker.immediate = true
	b := start(t, Config{Taker: taker})
	witness := login(t, b.Addr().String(), "witness", "", "")
	c := greet(t, b.Addr().String(), level)
	c.send(odd)
	next := login(t, b.Addr().String(), "next", "", "")
	for _, other := range []*raw{witness, next} {
		other.send(publishPacket("rack/a", []byte("5"), 1, 1, 0))
		if id := other.puback(); id != 1 {
			t.Errorf("PUBACK of %d", id)
		}
	}
	if stays {
		_ = c.conn.Close() // it is on its way out
	} else {
		c.closed()
	}
	for _, d := range taker.wait(t, 2) {
		if string(d.Payload) != "5" {
			t.Errorf("taken: %s %q", d.Topic, d.Payload)
		}
	}
}

func TestMalformedPacketsStopNobodyElse(t *testing.T) {
	t.Parallel()
	taker := newHold()
	taker.immediate = true
	b := start(t, Config{Taker: taker})
	address := b.Addr().String()
	witness := login(t, address, "witness", "", "")
	junk := [][]byte{nil, {0}, {0xFF, 0xFF}, {0, 1, 0xFF}, []byte("\x00\x04MQTT\x04\x02\x00\x3c\xff\xff"), text("#"), append(text("a\x00b"), 0, 0)}
	sent := 0
	for kind := range byte(16) { // every packet type of table 2.1, the reserved ones too
		for flags := range byte(16) {
			for _, rest := range junk {
				for _, before := range []bool{false, true} {
					if flags > 2 && len(rest) > 2 && before {
						continue // keeps the test short
					}
					c := dial(t, address)
					if before {
						c.send(connectPacket("odd", "", ""))
						if _, _, err := c.receive(patience); err != nil {
							t.Fatal(err)
						}
					}
					if _, err := c.conn.Write(packet(kind<<4|flags, rest)); err != nil {
						t.Fatal(err)
					}
					// A length that never ends, and one that promises too much.
					_, _ = c.conn.Write([]byte{0x30, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF})
					_ = c.conn.Close()
					sent++
				}
			}
		}
	}
	witness.send(publishPacket("rack/a", []byte("5"), 1, 1, 0))
	if id := witness.puback(); id != 1 {
		t.Fatalf("PUBACK of %d", id)
	}
	t.Logf("%d malformed packets", sent)
}

func FuzzPackets(f *testing.F) {
	f.Add([]byte{0x10, 0}, true)
	f.Add(connectPacket("a", "b", "c"), false)
	f.Add(publishPacket("rack/a", []byte("5"), 1, 1, 0), true)
	f.Add(subscribePacket("rack/#", 1), true)
	f.Add([]byte{0xF0, 2, 0, 0}, true)
	b := start(f, Config{Taker: obliging{}})
	f.Fuzz(func(t *testing.T, text []byte, before bool) {
		conn, err := net.Dial("tcp", b.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		defer func() { _ = conn.Close() }()
		if before {
			_, _ = conn.Write(connectPacket("odd", "", ""))
		}
		_, _ = conn.Write(text)
		witness := login(t, b.Addr().String(), "witness", "", "")
		witness.send(packet(0xC0, nil))
		if first, _, err := witness.receive(patience); err != nil || first != 0xD0 {
			t.Fatalf("after %x: PINGRESP due, got %x, %v", text, first, err)
		}
	})
}
