package ingest

import "time"

// Hurry lets a session of a test reconnect at once.
func (s *Session) Hurry() {
	s.firstWait, s.longWait, s.heldWait = 10*time.Millisecond, 100*time.Millisecond, 100*time.Millisecond
}
