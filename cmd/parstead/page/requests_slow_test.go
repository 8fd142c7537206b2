//go:build slow

package page

import (
	"context"
	"io"
	"net"
	"testing"
	"time"
)

// A request that never ends, in its headers or in its body, is ended.
func TestSlowRequestsEnd(t *testing.T) {
	t.Parallel()
	l, err := Listen("127.0.0.1:0", nil)
	if err != nil {
		t.Fatal(err)
	}
	server := newDoor(t, rightCode).server
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(ctx, l) }()
	var held []net.Conn
	for _, begun := range []string{"GET / HTTP/1.1\r\nHost: ", "POST /enter/code HTTP/1.1\r\nHost: " + l.Addr().String() + "\r\nContent-Type: " + formType + "\r\nContent-Length: 9\r\n\r\nx"} {
		c, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := c.Write([]byte(begun)); err != nil {
			t.Fatal(err)
		}
		held = append(held, c)
	}
	for i, c := range held {
		if err := c.SetReadDeadline(time.Now().Add(20 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if text, err := io.ReadAll(c); err != nil {
			t.Errorf("request %d is not ended: %q %v", i, text, err)
		}
		_ = c.Close()
	}
	end()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
