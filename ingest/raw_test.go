package ingest_test

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"time"
)

// raw is a publisher that speaks MQTT 3.1.1 byte by byte, because it must be
// fast, and must know exactly what was acknowledged.
type raw struct {
	net.Conn
	in *bufio.Reader
}

func text(s string) []byte {
	return append(binary.BigEndian.AppendUint16(nil, uint16(len(s))), s...)
}

// packet puts a fixed header before the rest (section 2.2).
func packet(first byte, rest []byte) []byte {
	return append(binary.AppendUvarint([]byte{first}, uint64(len(rest))), rest...)
}

func publishPacket(topic, payload string, qos byte, id uint16) []byte {
	rest := text(topic)
	if qos > 0 {
		rest = binary.BigEndian.AppendUint16(rest, id)
	}
	return packet(0x30|qos<<1, append(rest, payload...))
}

// dialRaw connects with a clean session.
func dialRaw(address, id string) (*raw, error) {
	conn, err := net.DialTimeout("tcp", address, 2*time.Second)
	if err != nil {
		return nil, err
	}
	c := &raw{conn, bufio.NewReaderSize(conn, 64<<10)}
	if _, err := c.Write(packet(0x10, append(append(text("MQTT"), 4, 2, 0, 0), text(id)...))); err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	first, rest, err := c.receive()
	if err == nil && (first != 0x20 || rest[1] != 0) {
		err = fmt.Errorf("CONNACK %x %x", first, rest)
	}
	if err != nil {
		return nil, errors.Join(err, conn.Close())
	}
	return c, nil
}

// receive reads one packet.
func (c *raw) receive() (first byte, rest []byte, err error) {
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

// acknowledged reads up to the next PUBACK or PUBREC and answers the latter.
func (c *raw) acknowledged() (id uint16, err error) {
	for {
		first, rest, err := c.receive()
		if err != nil {
			return 0, err
		}
		switch first {
		case 0x40:
			return binary.BigEndian.Uint16(rest), nil
		case 0x50:
			_, err := c.Write(packet(0x62, rest[:2]))
			return binary.BigEndian.Uint16(rest), err
		}
	}
}
