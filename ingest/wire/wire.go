// Package wire buffers a network connection both ways: it reads in large gulps,
// and gathers small writes while an earlier one is under way.
package wire

import (
	"bufio"
	"errors"
	"net"
	"sync"
	"syscall"
	"time"
)

// ErrSlow is the error of a connection whose peer has not read for so long that
// more than the limit is waiting for it.
var ErrSlow = errors.New("wire: the peer does not read")

const (
	farewell  = 250 * time.Millisecond // for what was written last to go out after Close
	writeTime = 30 * time.Second       // for one write to the network
)

// Conn is a buffered connection. Write never blocks and keeps each call's bytes
// together; what goes wrong with it is the error of a later call.
type Conn struct {
	net.Conn
	in    *bufio.Reader   // nil: reads are not buffered
	raw   syscall.RawConn // nil where the connection has none, as under TLS
	limit int

	// Heard is called when the peer was heard; nil for nobody. It has to be set
	// before the first Read.
	Heard func()

	mu     sync.Mutex
	out    []byte
	busy   bool // the goroutine is sending
	closed bool
	err    error       // of an earlier write
	late   *time.Timer // cuts a farewell short
	wake   chan struct{}
	done   chan struct{} // closed when the underlying connection is
}

// Wrap buffers c: reads by gulp bytes (0 for none), writes up to limit bytes
// waiting. It starts a goroutine, which Close ends.
func Wrap(c net.Conn, gulp, limit int) *Conn {
	w := &Conn{Conn: c, limit: limit, wake: make(chan struct{}, 1), done: make(chan struct{})}
	if gulp > 0 {
		w.in = bufio.NewReaderSize(c, gulp)
	}
	if s, ok := c.(syscall.Conn); ok {
		w.raw, _ = s.SyscallConn() // on an error what would use it finds nil
	}
	go w.write()
	return w
}

// Read reads what the peer sent.
func (w *Conn) Read(b []byte) (n int, err error) {
	fresh := true
	if w.in == nil {
		n, err = w.Conn.Read(b)
	} else {
		fresh = w.in.Buffered() == 0
		n, err = w.in.Read(b)
	}
	if fresh && n > 0 && w.Heard != nil {
		w.Heard()
	}
	if err != nil && w.isClosed() {
		err = net.ErrClosed
	}
	return n, err
}

func (w *Conn) isClosed() bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.closed
}

// Write queues b to be sent.
func (w *Conn) Write(b []byte) (int, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if err := w.queue(b); err != nil {
		return 0, err
	}
	return len(b), nil
}

// queue appends to what the goroutine sends; w.mu is held.
func (w *Conn) queue(b []byte) error {
	switch {
	case w.err != nil:
		return w.err
	case w.closed:
		return net.ErrClosed
	case len(w.out)+len(b) > w.limit:
		w.err = ErrSlow
		go w.Abort() // what is being written may be stuck, and closing may wait
		return w.err
	}
	w.out = append(w.out, b...)
	w.nudge()
	return nil
}

func (w *Conn) nudge() {
	select {
	case w.wake <- struct{}{}:
	default:
	}
}

// write sends what is queued until the connection is closed or fails.
func (w *Conn) write() {
	defer close(w.done)
	var spare []byte
	for range w.wake {
		w.mu.Lock()
		b, closed, err := w.out, w.closed, w.err
		w.out, w.busy = spare[:0], true
		w.mu.Unlock()
		if err == nil && len(b) > 0 {
			err = w.send(b)
		}
		w.mu.Lock()
		w.busy = false
		w.mu.Unlock()
		if spare = b; cap(spare) > 1<<16 {
			spare = nil
		}
		if err != nil || closed {
			w.mu.Lock()
			if w.err == nil {
				w.err = err
			}
			if w.late != nil {
				w.late.Stop()
			}
			w.mu.Unlock()
			_ = w.Conn.Close() // the error that matters is the one above
			return
		}
	}
}

func (w *Conn) send(b []byte) error {
	if err := w.Conn.SetWriteDeadline(time.Now().Add(writeTime)); err != nil {
		return err
	}
	if _, err := w.Conn.Write(b); err != nil {
		return err
	}
	return w.Conn.SetWriteDeadline(time.Time{}) // past a deadline sendNow sends nothing
}

// Close lets what was written go out for a moment, then closes the connection.
// It does not wait for that; Done tells when.
func (w *Conn) Close() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.closed {
		w.closed = true
		w.late = time.AfterFunc(farewell, w.Abort)
		w.nudge()
	}
	return nil
}

// SetDeadline sets the deadline of reads. Writes have their own.
func (w *Conn) SetDeadline(t time.Time) error { return w.SetReadDeadline(t) }

// SetWriteDeadline does nothing: Write never waits, and what is sent behind it
// has half a minute for each gulp.
func (w *Conn) SetWriteDeadline(time.Time) error { return nil }

// Abort closes the connection at once and drops what was not sent.
func (w *Conn) Abort() {
	w.mu.Lock()
	w.closed = true
	if w.err == nil {
		w.err = net.ErrClosed
	}
	w.mu.Unlock()
	_ = w.Conn.Close() // nobody is left to be told
	w.nudge()
}

// Done is closed once the connection, closed or failed, is out of use.
func (w *Conn) Done() <-chan struct{} { return w.done }

// Acknowledge writes MQTT PUBACK packets for the identifiers, in order. The form
// without reason and properties is that of MQTT 3.1.1 and of 5 alike (3.4). It
// sends what the network takes without waiting, so that a peer that waits for
// each is not held up by the goroutine that writes, and queues the rest.
func (w *Conn) Acknowledge(ids []uint16) error {
	b := make([]byte, 0, 4*len(ids))
	for _, id := range ids {
		b = append(b, 0x40, 2, byte(id>>8), byte(id))
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.raw != nil && !w.busy && len(w.out) == 0 && w.err == nil && !w.closed {
		if b = b[sendNow(w.raw, b):]; len(b) == 0 {
			return nil
		}
	}
	return w.queue(b)
}
