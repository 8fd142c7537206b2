package ingest

import (
	"context"
	"net"
	"net/url"
	"time"
)

// Hurry lets a session of a test reconnect at once.
func (s *Session) Hurry() {
	s.firstWait, s.longWait, s.heldWait = 10*time.Millisecond, 100*time.Millisecond, 100*time.Millisecond
}

// Dial has a session of a test connect to something else.
func (s *Session) Dial(dial func() (net.Conn, error)) {
	s.dial = func(context.Context, *url.URL) (net.Conn, error) { return dial() }
}
