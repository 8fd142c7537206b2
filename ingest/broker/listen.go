package broker

import (
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"sync/atomic"
	"time"

	mqtt "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/listeners"
	"github.com/mochi-mqtt/server/v2/packets"

	"parstead/ingest/wire"
)

const (
	introduction = 10 * time.Second // a stranger's time to send CONNECT
	maxUnsent    = 1 << 20          // bytes that wait for a client that does not read
)

// listener accepts clients for the broker, each on a link of its own.
type listener struct {
	broker *Broker
	net    net.Listener

	mu     sync.Mutex
	links  map[*link]bool // nil once the listener is closed
	from   crowd          // of the links
	attend sync.WaitGroup
}

func (l *listener) ID() string       { return "tcp" }
func (l *listener) Protocol() string { return "tcp" }
func (l *listener) Address() string  { return l.broker.Listen }

// Init opens the address.
func (l *listener) Init(*slog.Logger) (err error) {
	l.net, err = net.Listen("tcp", l.broker.Listen)
	return err
}

// Serve accepts clients until Close.
func (l *listener) Serve(establish listeners.EstablishFn) {
	for {
		conn, err := l.net.Accept()
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil { // out of file descriptors, most likely
			l.broker.Log.Error("no connection accepted", "error", err)
			time.Sleep(100 * time.Millisecond)
			continue
		}
		if l.broker.hook.doors.shut(conn.RemoteAddr()) || !l.admit(conn, establish) {
			_ = conn.Close() // the peer is not owed an answer
		}
	}
}

// admit serves a client in a goroutine of its own, unless the listener is
// closed, or too many are here or of the client's address.
func (l *listener) admit(conn net.Conn, establish listeners.EstablishFn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	from := network(conn.RemoteAddr())
	if l.links == nil || len(l.links) >= l.broker.Clients+newcomers || l.from[from] >= l.broker.PerAddress {
		return false
	}
	if l.broker.Secure != nil { // the handshake is in the client's goroutine, with the first read
		conn = tls.Server(conn, l.broker.Secure)
	}
	k := &link{
		Conn:   wire.Wrap(conn, 0, maxUnsent),
		number: l.broker.links.Add(1),
		broker: l.broker,
		pace:   pace{rate: l.broker.Rate},
	}
	l.links[k] = true
	l.from[from]++
	l.attend.Go(func() {
		l.serve(k, establish)
		_ = k.Close() // never fails
		<-k.Done()
		l.mu.Lock()
		defer l.mu.Unlock()
		delete(l.links, k)
		if l.from[from]--; l.from[from] <= 0 {
			delete(l.from, from)
		}
	})
	return true
}

// serve attends to one client until it leaves. A packet that makes the library
// panic costs its sender the connection, and nobody else anything.
func (l *listener) serve(k *link, establish listeners.EstablishFn) {
	client := k.RemoteAddr().String()
	defer func() {
		if cause := recover(); cause != nil {
			l.broker.Log.Error("a client's packet made the broker panic", "client", client, "error", fmt.Sprint(cause))
		}
	}()
	_ = k.SetDeadline(time.Now().Add(introduction)) // on an error the first read fails
	if err := establish(l.ID(), k); err != nil {
		if mend, ok := l.broker.refused.mend(err); ok {
			l.broker.Log.Warn("client refused", "client", client, "error", err, "mend", mend)
		}
		l.broker.Log.Debug("client left", "client", client, "error", err)
	}
}

// Close ends Serve and every client's connection, and waits for them. It doesn't
// have the library close the clients: that takes one lock for reading twice, and
// hangs where a client leaves in between.
func (l *listener) Close(listeners.CloseFn) {
	_ = l.net.Close() // it is on the way out anyway
	for _, client := range l.broker.server.Clients.GetAll() {
		if client.Net.Listener == l.ID() && !client.Closed() {
			_ = l.broker.server.DisconnectClient(client, packets.ErrServerShuttingDown) // that error
		}
	}
	l.mu.Lock()
	left := l.links
	l.links = nil
	for k := range left {
		_ = k.Close() // never fails
	}
	l.mu.Unlock()
	l.attend.Wait()
}

// link is one client's connection. It is the publisher that ingest answers.
type link struct {
	*wire.Conn
	number  uint64
	broker  *Broker
	reader  bool        // logged in as a reader
	warned  atomic.Bool // that it may not publish
	pace    pace
	shadow  *mqtt.Client // publishes to other subscribers in the client's name
	down    atomic.Bool
	deaf    atomic.Bool // gets no messages: it asked for too much
	dollars atomic.Bool // it asked for topics that begin with $
}

// Acknowledge acknowledges committed deliveries.
func (l *link) Acknowledge(ids []uint16) {
	if err := l.Conn.Acknowledge(ids); err != nil {
		l.Drop(err)
	}
}

// Drop ends the connection.
func (l *link) Drop(err error) {
	if !l.down.Swap(true) {
		l.broker.Log.Warn("client dropped", "client", l.RemoteAddr().String(), "error", err)
		l.Abort()
	}
}

// pace lets through so many messages a second, in bursts of up to a second's
// worth.
type pace struct {
	rate   float64
	credit float64
	last   time.Time
}

// keep waits until one more message is due. A client that sends faster is read
// more slowly.
func (p *pace) keep() {
	now := time.Now()
	p.credit = min(p.rate, p.credit+now.Sub(p.last).Seconds()*p.rate) - 1
	p.last = now
	if p.credit < 0 {
		time.Sleep(time.Duration(-p.credit / p.rate * float64(time.Second)))
	}
}
