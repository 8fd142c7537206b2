package demo

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"sync/atomic"
	"time"

	"github.com/mochi-mqtt/server/v2/packets"
)

// window is how many messages of one device may wait for their acknowledgement.
const window = 1024

// publisher is one device: an MQTT 3.1.1 client that publishes with QoS 1 and
// goes on while acknowledgements are under way.
type publisher struct {
	conn  net.Conn
	out   bytes.Buffer
	slots chan struct{} // one for every message not yet acknowledged
	next  uint16
	acked atomic.Uint64
	ended chan struct{} // closed when nothing more can be read
	err   error         // why; valid once ended is closed
}

// connect introduces a device to the broker. When the connection ends, ended is
// nudged.
func connect(ctx context.Context, address, name string, ended chan<- struct{}) (*publisher, error) {
	var dialer net.Dialer
	conn, err := dialer.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, fmt.Errorf("connect %s to the broker: %w", name, err)
	}
	p := &publisher{conn: conn, slots: make(chan struct{}, window), ended: make(chan struct{})}
	hello := packets.Packet{
		FixedHeader:     packets.FixedHeader{Type: packets.Connect},
		ProtocolVersion: 4,
		Connect:         packets.ConnectParams{ProtocolName: []byte("MQTT"), Clean: true, ClientIdentifier: name},
	}
	answers := bufio.NewReader(conn)
	err = hello.ConnectEncode(&p.out)
	if err == nil {
		err = p.flush()
	}
	if err == nil {
		err = accepted(answers)
	}
	if err != nil {
		return nil, errors.Join(fmt.Errorf("connect %s to the broker: %w", name, err), conn.Close())
	}
	go func() {
		p.listen(answers)
		close(p.ended)
		select {
		case ended <- struct{}{}:
		default:
		}
	}()
	return p, nil
}

// accepted reads the CONNACK (MQTT 3.1.1, section 3.2).
func accepted(answers io.Reader) error {
	var a [4]byte
	if _, err := io.ReadFull(answers, a[:]); err != nil {
		return err
	}
	if a[0] != packets.Connack<<4 || a[3] != 0 {
		return fmt.Errorf("the broker answers % x", a)
	}
	return nil
}

// listen takes the acknowledgements (MQTT 3.1.1, section 3.4) and frees their
// slots.
func (p *publisher) listen(answers io.Reader) {
	var a [4]byte
	for {
		if _, err := io.ReadFull(answers, a[:]); err != nil {
			p.err = err
			return
		}
		if a[0] != packets.Puback<<4 {
			p.err = fmt.Errorf("the broker sends % x for an acknowledgement", a)
			return
		}
		<-p.slots
		p.acked.Add(1)
	}
}

// add puts a message into the next flush. It waits while the window is full.
func (p *publisher) add(ctx context.Context, m Message) error {
	select {
	case p.slots <- struct{}{}:
	default:
		if err := p.flush(); err != nil {
			return err
		}
		select {
		case p.slots <- struct{}{}:
		case <-p.ended:
			return p.lost()
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	p.next++
	if p.next == 0 { // zero is no packet identifier
		p.next = 1
	}
	pk := packets.Packet{
		FixedHeader:     packets.FixedHeader{Type: packets.Publish, Qos: 1, Retain: m.Retain},
		ProtocolVersion: 4,
		TopicName:       m.Topic, Payload: m.Payload, PacketID: p.next,
	}
	return pk.PublishEncode(&p.out)
}

// flush sends what was added.
func (p *publisher) flush() error {
	if p.out.Len() == 0 {
		return nil
	}
	_, err := p.conn.Write(p.out.Bytes())
	p.out.Reset()
	return err
}

// drain waits until every message is acknowledged.
func (p *publisher) drain(ctx context.Context) error {
	tick := time.NewTicker(time.Millisecond)
	defer tick.Stop()
	for len(p.slots) > 0 {
		select {
		case <-tick.C:
		case <-p.ended:
			return p.lost()
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return nil
}

func (p *publisher) lost() error { return fmt.Errorf("the broker dropped a device: %w", p.err) }

func (p *publisher) close() error {
	err := p.conn.Close()
	<-p.ended
	return err
}
