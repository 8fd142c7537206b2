package ingest_test

import (
	"bufio"
	"encoding/binary"
	"errors"
	"io"
	"net"
	"strconv"
	"testing"
	"time"
)

// window20 is a broker that keeps strictly to a window of 20, as mosquitto does
// by default from 2.0.13 on; the 2.0.11 of some systems lets it grow. It brings n
// messages to whoever connects, and tells when the last is acknowledged.
func window20(b *testing.B, n int) (url string, done <-chan error) {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() {
		conn, err := l.Accept()
		if err != nil {
			ended <- err
			return
		}
		defer func() { _ = errors.Join(conn.Close(), l.Close()) }()
		ended <- bring(&raw{conn, bufio.NewReaderSize(conn, 64<<10)}, n)
		_, _ = io.Copy(io.Discard, conn) // until it is hung up
	}()
	return "tcp://" + l.Addr().String(), ended
}

func bring(c *raw, n int) error {
	for _, answer := range [][]byte{{0x20, 2, 1, 0}, nil} {
		first, rest, err := c.receive() // CONNECT, then SUBSCRIBE
		if err != nil {
			return err
		}
		if first == 0x82 {
			answer = packet(0x90, append(rest[:2:2], make([]byte, filtersIn(rest))...))
		}
		if _, err := c.Write(answer); err != nil {
			return err
		}
	}
	now := time.Now().Unix() - int64(n)
	send := func(i int) error {
		payload := `{"light":{"ppfd":` + strconv.Itoa(i%1000) + `.5},"at":` + strconv.FormatInt(now+int64(i), 10) + `}`
		_, err := c.Write(publishPacket("rack/"+strconv.Itoa(i%topics), payload, 1, uint16(i%60000+1)))
		return err
	}
	sent, acked := 0, 0
	for ; sent < 20; sent++ {
		if err := send(sent); err != nil {
			return err
		}
	}
	for acked < n {
		first, rest, err := c.receive()
		if err != nil {
			return err
		}
		switch first {
		case 0x40:
			acked++
			if sent < n {
				if err := send(sent); err != nil {
					return err
				}
				sent++
			}
		case 0x82: // more subscriptions
			if _, err := c.Write(packet(0x90, append(rest[:2:2], make([]byte, filtersIn(rest))...))); err != nil {
				return err
			}
		}
	}
	return nil
}

// filtersIn counts the topic filters of a SUBSCRIBE.
func filtersIn(rest []byte) (n int) {
	for rest = rest[2:]; len(rest) > 2; n++ {
		rest = rest[3+int(binary.BigEndian.Uint16(rest)):]
	}
	return n
}
