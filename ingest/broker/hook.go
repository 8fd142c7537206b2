package broker

import (
	"crypto/sha256"
	"crypto/subtle"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"parstead/ingest"
)

// hook stands between the library's broker and ingest.
type hook struct {
	mqtt.HookBase
	broker *Broker
	doors  doors
	twins  twins

	retained retained
	leaving  sync.Mutex
}

func (h *hook) ID() string { return "ingest" }

func (h *hook) Provides(b byte) bool {
	switch b {
	case mqtt.OnConnect, mqtt.OnConnectAuthenticate, mqtt.OnACLCheck, mqtt.OnPublish, mqtt.OnSubscribe,
		mqtt.OnDisconnect, mqtt.OnSelectSubscribers, mqtt.OnWill, mqtt.OnRetainedExpired:
		return true
	}
	return false
}

// OnConnect refuses a will that its client could not publish: the library sends
// wills without asking.
func (h *hook) OnConnect(cl *mqtt.Client, pk packets.Packet) error {
	if pk.Connect.WillFlag && !h.OnACLCheck(cl, pk.Connect.WillTopic, true) {
		return fmt.Errorf("will topic %q: %w: %w", pk.Connect.WillTopic, errOwnWill, packets.ErrNotAuthorized)
	}
	return nil
}

// OnConnectAuthenticate checks name and password, in the same time whether they
// are right or wrong.
func (h *hook) OnConnectAuthenticate(cl *mqtt.Client, pk packets.Packet) bool {
	c := &h.broker.Config
	sensor := c.Sensors == nil || c.Sensors.same(pk.Connect)
	reader := c.Readers != nil && c.Readers.same(pk.Connect)
	if l, ok := cl.Net.Conn.(*link); ok {
		l.reader = reader && (c.Sensors == nil || !sensor)
	}
	if !sensor && !reader {
		h.doors.knock(cl.Net.Conn.RemoteAddr())
		c.Log.Warn("wrong username or password", "client", cl.Net.Remote, "id", cl.ID)
		return false
	}
	return true
}

func (l *Login) same(c packets.ConnectParams) bool {
	name, name2 := sha256.Sum256([]byte(l.Username)), sha256.Sum256(c.Username)
	word, word2 := sha256.Sum256([]byte(l.Password)), sha256.Sum256(c.Password)
	return subtle.ConstantTimeCompare(name[:], name2[:])&subtle.ConstantTimeCompare(word[:], word2[:]) == 1
}

// OnACLCheck says what a client may do. It is asked for every PUBLISH, for every
// filter of a SUBSCRIBE, and for every message before a subscriber gets it.
func (h *hook) OnACLCheck(cl *mqtt.Client, topic string, write bool) bool {
	if write && strings.HasPrefix(topic, "$") {
		return false
	}
	l, ok := cl.Net.Conn.(*link)
	if write && ok && l.reader {
		if !l.warned.Swap(true) {
			h.broker.Log.Warn("a login for reading may not publish", "client", cl.Net.Remote, "id", cl.ID, "topic", topic)
		}
		return false
	}
	if !write && (full(cl) || ok && l.deaf.Load()) {
		return false
	}
	if strings.HasPrefix(shared(topic), "$") && !named(cl) {
		return false
	}
	if !told(shared(topic)) {
		return true
	}
	return !write && ok && l.reader
}

// told tells whether a topic, or a filter that can match nothing else, belongs to
// what is told of a trial.
func told(topic string) bool {
	levels := strings.SplitN(topic, "/", 4)
	return len(levels) >= 3 && levels[0] == "parstead" && slices.Contains([]string{Conditions, DLI, DLILastDay}, levels[2])
}

// OnPublish gives a client's message to ingest. QoS 1 leaves the broker's own
// handling here: its PUBACK is written once the reading is on disk, while the
// client's next packets are read. QoS 2 waits.
func (h *hook) OnPublish(cl *mqtt.Client, pk packets.Packet) (packets.Packet, error) {
	l, ok := cl.Net.Conn.(*link)
	if !ok { // published from within
		return pk, nil
	}
	if pk.TopicName == "" { // a topic alias that was never given (MQTT 5, section 3.3.2.3.4)
		l.Drop(packets.ErrTopicAliasInvalid)
		return pk, packets.ErrRejectPacket
	}
	l.pace.keep()
	pk.FixedHeader.Retain = pk.FixedHeader.Retain && h.retained.admit(pk.TopicName, pk.Payload)
	d := ingest.Delivery{
		Topic: pk.TopicName, Payload: pk.Payload,
		Again: pk.FixedHeader.Dup, Link: l.number, Direct: true, ID: pk.PacketID,
	}
	switch pk.FixedHeader.Qos {
	case 0:
		h.broker.Taker.Take(d)
		return pk, nil
	case 1:
		d.From = l
		h.broker.Taker.Take(d)
		h.passOn(cl, l, pk)
		return pk, packets.ErrRejectPacket
	default:
		committed := make(patient, 1)
		d.From = committed
		h.broker.Taker.Take(d)
		if err := <-committed; err != nil {
			l.Drop(err)
			return pk, packets.ErrRejectPacket
		}
		if large(pk) {
			h.passOn(cl, l, pk)
			pk.Ignore, pk.FixedHeader.Retain = true, false
		}
		return pk, nil
	}
}

// patient waits for one delivery.
type patient chan error

func (p patient) Acknowledge([]uint16) { p <- nil }
func (p patient) Drop(err error)       { p <- err }

// large tells whether a message is kept for nobody who has yet to acknowledge it.
func large(pk packets.Packet) bool { return pk.FixedHeader.Remaining > maxQueued }

// passOn brings a message that ingest has taken to the retained store and to
// other subscribers, in its client's name but acknowledged by nobody.
func (h *hook) passOn(cl *mqtt.Client, l *link, pk packets.Packet) {
	if !pk.FixedHeader.Retain && atomic.LoadInt64(&h.broker.server.Info.Subscriptions) == 0 {
		return
	}
	if l.shadow == nil {
		l.shadow = h.broker.server.NewClient(nil, "", cl.ID, true)
		l.shadow.Properties.ProtocolVersion = cl.Properties.ProtocolVersion
	}
	if large(pk) {
		pk.FixedHeader.Qos, pk.PacketID = 0, 0
	}
	pk.FixedHeader.Dup = false
	pk.Properties.TopicAliasFlag, pk.Properties.TopicAlias = false, 0
	if err := h.broker.server.InjectPacket(l.shadow, pk); err != nil {
		h.broker.Log.Warn("message not passed on", "topic", pk.TopicName, "error", err)
	}
}
