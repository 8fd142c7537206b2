package broker

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"testing"
	"time"
)

// patience is how long an answer that is due may take: a loaded machine is slow.
const patience = 30 * time.Second

// raw speaks MQTT 3.1.1 byte by byte.
type raw struct {
	t    testing.TB
	conn net.Conn
	in   *bufio.Reader
}

func text(s string) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(len(s))), s...)
}

// packet puts a fixed header before the rest (section 2.2).
func packet(first byte, rest []byte) []byte {
	p := []byte{first}
	n := len(rest)
	for {
		b := byte(n % 128)
		if n /= 128; n > 0 {
			p = append(p, b|128)
			continue
		}
		return append(append(p, b), rest...)
	}
}

func connectPacket(id, username, password string) []byte {
	flags := byte(2) // clean session
	payload := text(id)
	if username != "" {
		flags |= 0xC0
		payload = append(append(payload, text(username)...), text(password)...)
	}
	return packet(0x10, append(append(text("MQTT"), 4, flags, 0, 60), payload...))
}

func publishPacket(topic string, payload []byte, qos byte, id uint16, flags byte) []byte {
	rest := text(topic)
	if qos > 0 {
		rest = binary.BigEndian.AppendUint16(rest, id)
	}
	return packet(0x30|qos<<1|flags, append(rest, payload...))
}

const (
	dup    = 8
	retain = 1
)

// dial opens a connection without a word.
func dial(tb testing.TB, address string) *raw {
	tb.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { _ = conn.Close() })
	return &raw{tb, conn, bufio.NewReaderSize(conn, 64<<10)}
}

// login connects and checks the broker's answer.
func login(tb testing.TB, address, id, username, password string) *raw {
	tb.Helper()
	c := dial(tb, address)
	c.send(connectPacket(id, username, password))
	first, rest, err := c.receive(patience)
	if err != nil || first != 0x20 || rest[1] != 0 {
		tb.Fatalf("%s: CONNACK %x %v, %v", id, first, rest, err)
	}
	return c
}

func (c *raw) send(b []byte) {
	c.t.Helper()
	if _, err := c.conn.Write(b); err != nil {
		c.t.Fatal(err)
	}
}

// receive reads one packet.
func (c *raw) receive(within time.Duration) (first byte, rest []byte, err error) {
	if err := c.conn.SetReadDeadline(time.Now().Add(within)); err != nil {
		return 0, nil, err
	}
	if first, err = c.in.ReadByte(); err != nil {
		return 0, nil, err
	}
	n, err := binary.ReadUvarint(c.in)
	if err != nil {
		return 0, nil, err
	}
	rest = make([]byte, n)
	_, err = io.ReadFull(c.in, rest)
	return first, rest, err
}

// puback reads an acknowledgement.
func (c *raw) puback() uint16 {
	c.t.Helper()
	first, rest, err := c.receive(patience)
	if err != nil || first != 0x40 || len(rest) != 2 {
		c.t.Fatalf("PUBACK due, got %x %x, %v", first, rest, err)
	}
	return binary.BigEndian.Uint16(rest)
}

// silent checks that nothing comes for a while.
func (c *raw) silent(d time.Duration) {
	c.t.Helper()
	if first, rest, err := c.receive(d); err == nil {
		c.t.Fatalf("nothing was due, got %x %x", first, rest)
	}
}

// closed checks that the broker ends the connection.
func (c *raw) closed() {
	c.t.Helper()
	for {
		_, _, err := c.receive(patience)
		if err == nil {
			continue
		}
		if e, ok := errors.AsType[net.Error](err); ok && e.Timeout() {
			c.t.Fatal("the connection is still open")
		}
		return
	}
}
