package page

import (
	"context"
	"errors"
	"io"
	"net"
	"net/http"
	"net/netip"
	"os"
	"testing"
	"time"
)

// One address can't take all connections, nor many addresses those that the
// machine needs; a closed one makes room.
func TestConnectionsAreBounded(t *testing.T) {
	t.Parallel()
	b := &bounded{by: map[netip.Prefix]int{}}
	in := 0
	for i := range 2 * mostConnections {
		if b.enter(network(net.JoinHostPort(netip.AddrFrom4([4]byte{10, 0, 0, byte(i % 8)}).String(), "1"))) {
			in++
		}
	}
	if in != mostConnections {
		t.Errorf("%d connections are let in", in)
	}

	l, err := Listen("127.0.0.1:0", nil)
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- newDoor(t, rightCode).server.Serve(ctx, l) }()
	address := l.Addr().String()
	open := func() net.Conn {
		c, err := net.Dial("tcp", address)
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	held := make([]net.Conn, mostOfOne)
	for i := range held {
		held[i] = open()
	}
	// The one too many is closed; the others are waited for.
	extra := open()
	if err := extra.SetReadDeadline(time.Now().Add(10 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := extra.Read(make([]byte, 1)); err == nil || errors.Is(err, os.ErrDeadlineExceeded) {
		t.Errorf("the connection that is too much: %v", err)
	}
	_ = extra.Close()
	for _, c := range held {
		_ = c.Close()
	}
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	var text []byte
	for range 100 { // until the server has seen them close
		if answer, err := client.Get("http://" + address + "/alive"); err == nil {
			text, _ = io.ReadAll(answer.Body)
			_ = answer.Body.Close()
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if string(text) != "alive\n" {
		t.Errorf("after the crowd has gone: %q", text)
	}
	end()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
