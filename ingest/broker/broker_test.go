package broker

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"go.uber.org/goleak"

	"parstead/ingest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// hold is a taker that answers when it is told to.
type hold struct {
	mu        sync.Mutex
	taken     []ingest.Delivery
	immediate bool
	arrived   chan struct{}
}

func newHold() *hold { return &hold{arrived: make(chan struct{}, 1000)} }

func (h *hold) Take(d ingest.Delivery) {
	h.mu.Lock()
	d.Payload = append([]byte(nil), d.Payload...)
	h.taken = append(h.taken, d)
	immediate := h.immediate
	h.mu.Unlock()
	if immediate && d.From != nil {
		d.From.Acknowledge([]uint16{d.ID})
	}
	h.arrived <- struct{}{}
}

// wait returns what was taken, once it is n deliveries.
func (h *hold) wait(t *testing.T, n int) []ingest.Delivery {
	t.Helper()
	for {
		h.mu.Lock()
		taken := append([]ingest.Delivery(nil), h.taken...)
		h.mu.Unlock()
		if len(taken) >= n {
			return taken
		}
		select {
		case <-h.arrived:
		case <-time.After(patience):
			t.Fatalf("%d deliveries, want %d", len(taken), n)
		}
	}
}

func start(tb testing.TB, c Config) *Broker {
	tb.Helper()
	if c.Listen == "" {
		c.Listen = "127.0.0.1:0"
	}
	if c.Log == nil {
		c.Log = slog.New(slog.DiscardHandler)
	}
	b, err := Open(c)
	if err != nil {
		tb.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- b.Run(ctx) }()
	tb.Cleanup(func() {
		cancel()
		if err := <-done; err != nil {
			tb.Error(err)
		}
	})
	return b
}

func TestPubackWaitsForTheCommitAndHoldsNothingUp(t *testing.T) {
	t.Parallel()
	taker := newHold()
	b := start(t, Config{Taker: taker})
	c := login(t, b.Addr().String(), "chip", "", "")
	for id := uint16(1); id <= 3; id++ {
		c.send(publishPacket("rack/a", []byte("5"), 1, id, 0))
	}
	taken := taker.wait(t, 3) // the second and third came in though the first is not acknowledged
	c.silent(100 * time.Millisecond)
	c.send(packet(0xC0, nil)) // and a ping is answered
	if first, _, err := c.receive(patience); err != nil || first != 0xD0 {
		t.Fatalf("PINGRESP due, got %x, %v", first, err)
	}
	d := taken[0]
	if d.Topic != "rack/a" || string(d.Payload) != "5" || d.Again || d.Retained || d.Away != 0 || d.ID != 1 {
		t.Errorf("delivered %+v", d)
	}
	d.From.Acknowledge([]uint16{1, 2, 3})
	for id := uint16(1); id <= 3; id++ {
		if got := c.puback(); got != id {
			t.Fatalf("PUBACK of %d, want %d", got, id)
		}
	}
}

func TestFailedCommitDropsTheConnection(t *testing.T) {
	t.Parallel()
	taker := newHold()
	b := start(t, Config{Taker: taker})
	for _, qos := range []byte{1, 2} {
		c := login(t, b.Addr().String(), "chip", "", "")
		c.send(publishPacket("rack/a", []byte("5"), qos, 1, 0))
		taken := taker.wait(t, int(qos))
		taken[qos-1].From.Drop(errors.New("disk full"))
		if _, rest, err := c.receive(patience); err == nil {
			t.Fatalf("QoS %d: acknowledged with %x", qos, rest)
		}
	}
	c := login(t, b.Addr().String(), "chip", "", "")
	c.send(publishPacket("rack/a", []byte("5"), 1, 1, dup))
	taken := taker.wait(t, 3)
	if !taken[2].Again || taken[2].Link == taken[0].Link {
		t.Errorf("a repetition on a new connection came as %+v", taken[2])
	}
}

func TestQoS2WaitsAndIsTakenOnce(t *testing.T) {
	t.Parallel()
	taker := newHold()
	b := start(t, Config{Taker: taker})
	c := login(t, b.Addr().String(), "chip", "", "")
	c.send(publishPacket("rack/a", []byte("5"), 2, 9, 0))
	taken := taker.wait(t, 1)
	c.silent(100 * time.Millisecond)
	taken[0].From.Acknowledge([]uint16{9})
	if first, rest, err := c.receive(patience); err != nil || first != 0x50 || binary.BigEndian.Uint16(rest) != 9 {
		t.Fatalf("PUBREC due, got %x %x, %v", first, rest, err)
	}
	c.send(publishPacket("rack/a", []byte("5"), 2, 9, dup)) // not seen the PUBREC yet
	if first, _, err := c.receive(patience); err != nil || first != 0x50 {
		t.Fatalf("PUBREC due, got %x, %v", first, err)
	}
	c.send(packet(0x62, []byte{0, 9}))
	if first, _, err := c.receive(patience); err != nil || first != 0x70 {
		t.Fatalf("PUBCOMP due, got %x, %v", first, err)
	}
	if n := len(taker.wait(t, 1)); n != 1 {
		t.Errorf("taken %d times", n)
	}
}

func subscribePacket(filter string, qos byte) []byte {
	return packet(0x82, append(append([]byte{0, 77}, text(filter)...), qos))
}

func (c *raw) subscribe(filter string) byte {
	c.t.Helper()
	c.send(subscribePacket(filter, 1))
	first, rest, err := c.receive(patience)
	if err != nil || first != 0x90 {
		c.t.Fatalf("SUBACK due, got %x, %v", first, err)
	}
	return rest[2]
}

func TestOthersAndTheRetainedStoreGetItToo(t *testing.T) {
	t.Parallel()
	taker := newHold()
	taker.immediate = true
	b := start(t, Config{Taker: taker})
	chip := login(t, b.Addr().String(), "chip", "", "")
	early := login(t, b.Addr().String(), "early", "", "")
	if code := early.subscribe("rack/#"); code != 1 {
		t.Fatalf("subscribed with %x", code)
	}
	early.send(packet(0xC0, nil)) // once it is answered, what the store held is sent
	if first, _, err := early.receive(patience); err != nil || first != 0xD0 {
		t.Fatalf("PINGRESP due, got %x, %v", first, err)
	}
	for qos := byte(0); qos <= 2; qos++ {
		chip.send(publishPacket("rack/a", []byte{'0' + qos}, qos, 1+uint16(qos), retain))
		first, rest, err := early.receive(patience)
		if err != nil || first&0xF0 != 0x30 {
			t.Fatalf("QoS %d: PUBLISH due, got %x, %v", qos, first, err)
		}
		// The retain flag is for deliveries from the store only (3.3.1.3), and the
		// QoS is the lower of the published and the granted one (3.8.4).
		if want := 0x30 | min(qos, 1)<<1; first != want {
			t.Errorf("QoS %d arrived with header %x, want %x", qos, first, want)
		}
		if rest[len(rest)-1] != '0'+qos {
			t.Errorf("payload %q", rest)
		}
	}
	late := login(t, b.Addr().String(), "late", "", "")
	late.send(subscribePacket("rack/a", 0))
	var fromStore bool
	for range 2 { // SUBACK and the retained message may come in either order (3.8.4)
		first, rest, err := late.receive(patience)
		if err != nil {
			t.Fatal(err)
		}
		fromStore = fromStore || first == 0x31 && rest[len(rest)-1] == '2'
	}
	if !fromStore {
		t.Error("a late subscriber did not get the retained message")
	}
	taken := taker.wait(t, 3)
	if len(taken) != 3 {
		t.Errorf("ingest took %d deliveries of 3", len(taken))
	}
	for _, d := range taken {
		if d.Retained {
			t.Error("a live publish with the retain flag is taken for a stored one")
		}
	}
}

func TestSensorsStayInTheirRooms(t *testing.T) {
	t.Parallel()
	taker := newHold()
	taker.immediate = true
	b := start(t, Config{
		Taker: taker, Sensors: &Login{"chip", "secret"}, Readers: &Login{"board", "other"},
	})
	address := b.Addr().String()
	const condition = "parstead/spring/conditions/dimmed/upper"
	waitServing(t, b)
	if err := b.Publish(condition, []byte(`{"says":"dim"}`)); err != nil {
		t.Fatal(err)
	}
	chip := login(t, address, "chip", "chip", "secret")
	for filter, want := range map[string]byte{
		condition: 0x80, "parstead/+/conditions/#": 0x80, "parstead/spring/dli/upper": 0x80, "parstead/+/dli_last_day/+": 0x80, "parstead/spring/conditions/+/+": 0x80,
		"$share/x/parstead/+/conditions/#": 0x80, "#": 1, "parstead/#": 1,
	} {
		if got := chip.subscribe(filter); got != want {
			t.Errorf("a sensor's subscription to %s: %x, want %x", filter, got, want)
		}
	}
	chip.silent(100 * time.Millisecond) // the wildcards bring no condition
	for _, topic := range []string{condition, "parstead/x/conditions", "parstead/spring/dli/upper", "$SYS/broker/version"} {
		c := login(t, address, "chip2", "chip", "secret")
		c.send(publishPacket(topic, []byte("forged"), 1, 1, retain))
		if topic[0] == '$' {
			c.silent(100 * time.Millisecond)
		} else {
			c.closed()
		}
		// A will is a publication too.
		w := dial(t, address)
		flags := byte(2 | 4 | 0x20 | 0xC0)
		body := append(append(text("MQTT"), 4, flags, 0, 60), text("will")...)
		body = append(append(body, text(topic)...), text("forged")...)
		body = append(append(body, text("chip")...), text("secret")...)
		w.send(packet(0x10, body))
		w.closed()
	}
	if n := len(taker.wait(t, 0)); n != 0 {
		t.Errorf("ingest took %d forged messages", n)
	}
	board := login(t, address, "board", "board", "other")
	board.send(subscribePacket("parstead/+/conditions/#", 1))
	seen := false
	for range 2 {
		first, rest, err := board.receive(patience)
		if err != nil {
			t.Fatal(err)
		}
		seen = seen || first&0xF1 == 0x31 && strings.HasSuffix(string(rest), `{"says":"dim"}`)
	}
	if !seen {
		t.Error("a reader does not see the condition")
	}
	for _, topic := range []string{condition, "parstead/spring/dli/upper", "rack/light"} {
		board := login(t, address, "board2", "board", "other")
		board.send(publishPacket(topic, []byte("5"), 1, 1, retain))
		board.closed()
		board = login(t, address, "board3", "board", "other")
		board.send(publishPacket(topic, []byte("5"), 0, 0, 0))
		board.silent(100 * time.Millisecond)
	}
	if n := len(taker.wait(t, 0)); n != 0 {
		t.Errorf("ingest took %d messages of a reader", n)
	}
	board.send(publishPacket(condition, nil, 1, 1, retain))
	board.closed()
}

func waitServing(t *testing.T, b *Broker) {
	t.Helper()
	for i := 0; !b.Connected(); i++ {
		if i == 500 {
			t.Fatal("not serving")
		}
		time.Sleep(10 * time.Millisecond)
	}
}

func TestWrongPasswords(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: newHold(), Sensors: &Login{"chip", "secret"}})
	address := b.Addr().String()
	login(t, address, "good", "chip", "secret")
	for i, c := range []struct{ username, password string }{
		{"", ""}, {"chip", "secre"}, {"chip", "secret "}, {"chi", "secret"}, {"chip", "wrong"},
	} {
		r := dial(t, address)
		r.send(connectPacket("thief", c.username, c.password))
		first, rest, err := r.receive(patience)
		// Return code 4 or 5: bad user name or password, not authorized (3.2.2.3).
		if err != nil || first != 0x20 || rest[1] != 4 && rest[1] != 5 {
			t.Fatalf("try %d: %x %x, %v", i, first, rest, err)
		}
	}
	// After five of them the door is shut, for the right password too.
	r := dial(t, address)
	if _, err := r.conn.Write(connectPacket("late", "chip", "secret")); err == nil {
		r.closed()
	}
}

func TestOnlyLoopbackWithoutPassword(t *testing.T) {
	t.Parallel()
	for address, want := range map[string]bool{
		"127.0.0.1:0": true, "[::1]:0": true, "localhost:0": true, "127.8.8.8:0": true,
		"0.0.0.0:0": false, ":0": false, "[::]:0": false, "192.168.1.5:0": false, "rack.example:0": false,
	} {
		if got := Loopback(address); got != want {
			t.Errorf("%s: loopback is %v, want %v", address, got, want)
		}
		if want {
			continue
		}
		if _, err := Open(Config{Listen: address, Taker: newHold(), Log: slog.New(slog.DiscardHandler)}); err == nil || !strings.Contains(err.Error(), "password_file") {
			t.Errorf("%s opens without a password: %v", address, err)
		}
	}
}

func TestAddressInUse(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: newHold()})
	_, err := Open(Config{Listen: b.Addr().String(), Taker: newHold(), Log: slog.New(slog.DiscardHandler)})
	if err == nil || !strings.Contains(err.Error(), b.Addr().String()) {
		t.Errorf("a second broker on the address: %v", err)
	}
}

func TestSizeAndPace(t *testing.T) {
	t.Parallel()
	taker := newHold()
	taker.immediate = true
	b := start(t, Config{Taker: taker, PacketLimit: 1000, Rate: 200})
	c := login(t, b.Addr().String(), "loud", "", "")
	c.send(publishPacket("rack/a", make([]byte, 2000), 1, 1, 0))
	c.closed()

	c = login(t, b.Addr().String(), "fast", "", "")
	begin := time.Now()
	for id := range uint16(300) {
		c.send(publishPacket("rack/a", []byte("1"), 1, id+1, 0))
	}
	for range 300 {
		c.puback()
	}
	// 200 at once, then 100 at 200 a second.
	if took := time.Since(begin); took < 450*time.Millisecond {
		t.Errorf("300 messages took %v at 200 a second", took)
	}
}

func TestTheStoreOfRetainedMessagesIsBounded(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: obliging{}, Rate: 1e6})
	c := login(t, b.Addr().String(), "loud", "", "")
	var all []byte
	for i := range maxRetained + 100 {
		all = append(all, publishPacket(fmt.Sprint("x/", i), []byte("1"), 0, 0, retain)...)
	}
	c.send(append(all, publishPacket("x/0", []byte("2"), 0, 0, retain)...))
	c.send(publishPacket("end", []byte("1"), 1, 1, 0))
	c.puback()
	kept := b.server.Topics.Retained
	n := 0
	for topic := range kept.GetAll() {
		if !strings.HasPrefix(topic, "$") { // the broker's own
			n++
		}
	}
	if n > maxRetained {
		t.Errorf("%d messages kept", n)
	}
	if pk, ok := kept.Get("x/0"); !ok || string(pk.Payload) != "2" {
		t.Errorf("a kept message was not replaced: %q", pk.Payload)
	}
}

func TestPanicCostsItsSenderOnly(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: panicking{}})
	c := login(t, b.Addr().String(), "odd", "", "")
	c.send(publishPacket("rack/a", []byte("5"), 1, 1, 0))
	c.closed()
	login(t, b.Addr().String(), "next", "", "")
}

// obliging acknowledges everything at once.
type obliging struct{}

func (obliging) Take(d ingest.Delivery) {
	if d.From != nil {
		d.From.Acknowledge([]uint16{d.ID})
	}
}

type panicking struct{}

func (panicking) Take(ingest.Delivery) { panic("as if the library had a fault") }

func TestAClientThatDoesNotReadHoldsNobodyUp(t *testing.T) {
	t.Parallel()
	b := start(t, Config{Taker: newHold()})
	conn, err := net.Dial("tcp", b.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	deaf := &raw{t: t, conn: conn}
	deaf.send(connectPacket("deaf", "", ""))
	deaf.send(publishPacket("rack/a", []byte("5"), 1, 1, 0))
	taker := b.Taker.(*hold)
	from := taker.wait(t, 1)[0].From
	ids := make([]uint16, 60000)
	begin := time.Now()
	for range 50 { // 12 MB, more than the sockets' buffers hold
		from.Acknowledge(ids)
	}
	if took := time.Since(begin); took > 3*time.Second {
		t.Errorf("answering a deaf client took %v", took)
	}
}

// The library's own way of closing hangs when a client leaves meanwhile.
func TestClosingWhileClientsLeave(t *testing.T) {
	t.Parallel()
	for range 20 {
		b, err := Open(Config{Listen: "127.0.0.1:0", Taker: obliging{}, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- b.Run(ctx) }()
		c := login(t, b.Addr().String(), "chip", "", "")
		var leaving sync.WaitGroup
		var closed atomic.Bool
		for range 4 {
			leaving.Go(func() {
				for !closed.Load() {
					b.server.Clients.Delete("gone") // as each that leaves has done
				}
			})
		}
		cancel()
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(patience):
			t.Fatal("the broker hangs")
		}
		closed.Store(true)
		leaving.Wait()
		c.closed()
	}
}

func TestDeliveriesNameTheirLink(t *testing.T) {
	t.Parallel()
	taker := newHold()
	b := start(t, Config{Taker: taker})
	for _, id := range []string{"one", "two"} {
		c := login(t, b.Addr().String(), id, "", "")
		c.send(publishPacket("rack/a", []byte("5"), 0, 0, 0))
		c.send(publishPacket("rack/a", []byte("5"), 0, 0, 0))
	}
	links := map[uint64]int{}
	for _, d := range taker.wait(t, 4) {
		links[d.Link]++
	}
	if diff := cmp.Diff(map[uint64]int{1: 2, 2: 2}, links); diff != "" {
		t.Error(diff)
	}
}
