package ingest_test

import (
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"

	"parstead/ingest"
	"parstead/ingest/broker"
	"parstead/light"
)

// TestCutConnections cuts the network between the session and the broker again
// and again, at whatever byte is on the way.
func TestCutConnections(t *testing.T) {
	t.Parallel()
	m := startMosquitto(t)
	cable := layCable(t, m.address)
	sink := newStore()
	in := intake(t, sink, feed("a", "rack/a"))
	running(t, in.Run)
	s, _ := connect(t, in, ingest.Remote{URL: "tcp://" + cable.address})
	n := &numbers{acked: map[int]bool{}}
	rng := rand.New(rand.NewPCG(5, 6))
	for range 8 {
		n.publish(m.address, 1, 300)
		time.Sleep(time.Duration(rng.IntN(3000)) * time.Microsecond)
		cable.cut()
		waitConnected(t, s)
	}
	for want := 1; ; want++ {
		have := map[int]bool{}
		for _, r := range sink.wait(t, want) {
			have[int(r.Value)] = true
		}
		missing := 0
		for v := range n.acked {
			if !have[v] {
				missing++
			}
		}
		if missing == 0 {
			break
		}
		want = max(want, len(sink.all())-1)
	}
	t.Logf("%d readings acknowledged, %d stored", len(n.acked), len(sink.all()))
}

// cable is a network that can be cut.
type cable struct {
	address string
	mu      sync.Mutex
	pulled  bool
	conns   []net.Conn
	cutOff  int    // how often
	left    [2]int // bytes that pass before it is cut, each way; negative: any number
}

// The ways through a cable: to the end that it was laid to, and back.
const there, back = 0, 1

func layCable(t *testing.T, to string) *cable {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	c := &cable{address: l.Addr().String(), left: [2]int{-1, -1}}
	var all sync.WaitGroup
	all.Go(func() {
		for {
			a, err := l.Accept()
			if err != nil {
				return
			}
			b, err := net.Dial("tcp", to)
			if err != nil {
				_ = a.Close()
				continue
			}
			c.mu.Lock()
			c.conns = append(c.conns, a, b)
			if c.pulled {
				_, _ = a.Close(), b.Close()
			}
			c.mu.Unlock()
			for way, ends := range [][2]net.Conn{{b, a}, {a, b}} {
				all.Go(func() {
					c.carry(way, ends[0], ends[1])
					_ = ends[0].Close()
				})
			}
		}
	})
	t.Cleanup(func() {
		_ = l.Close()
		c.cut()
		all.Wait()
	})
	return c
}

// carry copies one way of a connection until it is cut.
func (c *cable) carry(way int, to io.Writer, from io.Reader) {
	buffer := make([]byte, 4096)
	for {
		n, err := from.Read(buffer)
		c.mu.Lock()
		last := c.left[way] >= 0 && n >= c.left[way]
		if last {
			n = c.left[way]
		}
		if c.left[way] >= 0 {
			c.left[way] -= n
		}
		c.mu.Unlock()
		if _, failed := to.Write(buffer[:n]); failed != nil || err != nil {
			return
		}
		if last {
			c.mu.Lock()
			c.left[way] = -1
			c.mu.Unlock()
			c.cut()
			return
		}
	}
}

// cutAfter lets so many more bytes pass one way, then cuts.
func (c *cable) cutAfter(way, bytes int) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.left[way] = bytes
}

func (c *cable) cut() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, conn := range c.conns {
		_ = conn.Close()
	}
	c.conns = nil
	c.cutOff++
}

func (c *cable) cuts() int {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.cutOff
}

// pull cuts it for as long as it is not plugged in again.
func (c *cable) pull() {
	c.mu.Lock()
	c.pulled = true
	c.mu.Unlock()
	c.cut()
}

func (c *cable) plug() {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.pulled = false
}

// ownFeed and ownPayload are of a sensor whose readings carry their time.
func ownFeed() ingest.Feed {
	own := feed("own", "rack/own")
	own.Value, own.Time, own.TimeFormat = "/v", "/at", ingest.Unix
	return own
}

func ownPayload(v int) string { return fmt.Sprintf(`{"v":%d,"at":%d}`, v, 1772500000+v) }

// eachOnce demands that the readings of own are the values from 1 to n, each
// once, and that those of bare are there at least once.
func eachOnce(t *testing.T, all []light.Reading, n int) {
	t.Helper()
	own, bare := map[int]int{}, map[int]int{}
	for _, r := range all {
		if r.Sensor == "own" {
			own[int(r.Value)]++
		} else {
			bare[int(r.Value)]++
		}
	}
	for v := 1; v <= n; v++ {
		if own[v] != 1 || bare[v] < 1 {
			t.Errorf("%d is there %d times with its own time, %d times without", v, own[v], bare[v])
		}
	}
	if len(own) > n || len(bare) > n {
		t.Errorf("%d and %d values of %d that were sent", len(own), len(bare), n)
	}
}

// TestCutMidAcknowledgement lets only a few bytes of the acknowledgements
// through, which have four each: what was committed and not acknowledged comes
// again and is told apart.
const cutsMidAcknowledgement = 21

func TestCutMidAcknowledgement(t *testing.T) {
	t.Parallel()
	t.Run("another broker", cutAnotherBroker)
	t.Run("the embedded broker", cutEmbeddedBroker)
}

func cutAnotherBroker(t *testing.T) {
	t.Parallel()
	m := startMosquitto(t)
	cable := layCable(t, m.address)
	sink := newStore()
	in := intake(t, sink, ownFeed(), feed("bare", "rack/bare"))
	running(t, in.Run)
	connect(t, in, ingest.Remote{URL: "tcp://" + cable.address})
	chip := publisher(t, m.url())
	for i := range cutsMidAcknowledgement {
		before := cable.cuts()
		cable.cutAfter(there, i)
		publish(t, chip, "rack/own", 1, false, ownPayload(i+1))
		for range 5 { // with them 24 bytes of acknowledgements: it is cut within
			publish(t, chip, "rack/bare", 1, false, fmt.Sprint(i+1))
		}
		eventually(t, "the cable is cut", func() bool { return cable.cuts() > before })
	}
	for n := 2 * cutsMidAcknowledgement; ; n++ { // what was not acknowledged comes again
		have := map[light.Reading]bool{}
		for _, r := range sink.wait(t, n) {
			have[light.Reading{Sensor: r.Sensor, Value: r.Value}] = true
		}
		if len(have) == 2*cutsMidAcknowledgement {
			break
		}
	}
	eachOnce(t, sink.all(), cutsMidAcknowledgement)
}

func cutEmbeddedBroker(t *testing.T) {
	t.Parallel()
	sink := newStore()
	in := intake(t, sink, ownFeed(), feed("bare", "rack/bare"))
	running(t, in.Run)
	e, err := broker.Open(broker.Config{Listen: "127.0.0.1:0", Taker: in, Log: quiet})
	if err != nil {
		t.Fatal(err)
	}
	running(t, e.Run)
	cable := layCable(t, e.Addr().String())
	const perCut = 3
	for i := range cutsMidAcknowledgement {
		// The sensor sends what is not acknowledged again, until all is.
		waiting := map[uint16][2]string{}
		for v := i*perCut + 1; v <= (i+1)*perCut; v++ {
			waiting[uint16(2*v)] = [2]string{"rack/own", ownPayload(v)}
			waiting[uint16(2*v+1)] = [2]string{"rack/bare", fmt.Sprint(v)}
		}
		sendUntilAcknowledged(t, cable, waiting, i)
	}
	eachOnce(t, sink.all(), cutsMidAcknowledgement*perCut)
}

// sendUntilAcknowledged sends messages, topic and payload by identifier, again until
// all are acknowledged. The first connection is cut after so many bytes of answers.
func sendUntilAcknowledged(t *testing.T, cable *cable, waiting map[uint16][2]string, cutAt int) {
	t.Helper()
	for try := 0; len(waiting) > 0; try++ {
		c, err := dialRaw(cable.address, "chip")
		if err != nil {
			t.Fatal(err)
		}
		if try == 0 {
			cable.cutAfter(back, cutAt)
		}
		for id, w := range waiting {
			p := publishPacket(w[0], w[1], 1, id)
			if try > 0 {
				p[0] |= 8 // DUP
			}
			if _, err := c.Write(p); err != nil {
				break
			}
		}
		for len(waiting) > 0 {
			id, err := c.acknowledged()
			if err != nil {
				break
			}
			delete(waiting, id)
		}
		_ = c.Close() // it may be cut already
	}
}
