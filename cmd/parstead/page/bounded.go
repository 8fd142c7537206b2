package page

import (
	"net"
	"net/netip"
	"sync"
)

const (
	mostConnections = 256
	mostOfOne       = 64 // from one address or IPv6 network: a browser has six, a proxy some dozens
)

// bounded is a listener that closes at once what is too much: connections cost
// memory and file descriptors, which the database and the broker need too.
type bounded struct {
	net.Listener

	mu  sync.Mutex
	all int
	by  map[netip.Prefix]int
}

// Accept waits for a connection that is not too much.
func (b *bounded) Accept() (net.Conn, error) {
	for {
		c, err := b.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := network(c.RemoteAddr().String())
		if b.enter(from) {
			return &boundedConn{Conn: c, leave: sync.OnceFunc(func() { b.leave(from) })}, nil
		}
		_ = c.Close() // nobody to tell
	}
}

func (b *bounded) enter(from netip.Prefix) bool {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.all >= mostConnections || b.by[from] >= mostOfOne {
		return false
	}
	b.all++
	b.by[from]++
	return true
}

func (b *bounded) leave(from netip.Prefix) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.all--
	if b.by[from]--; b.by[from] == 0 {
		delete(b.by, from)
	}
}

// boundedConn makes room when it is closed.
type boundedConn struct {
	net.Conn
	leave func()
}

// Close closes the connection.
func (c *boundedConn) Close() error {
	c.leave()
	return c.Conn.Close()
}
