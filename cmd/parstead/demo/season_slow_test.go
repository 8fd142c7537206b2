//go:build slow

package demo

import (
	"path/filepath"
	"testing"
	"time"

	"parstead/store"
)

// The whole season of five-minute readings through the real broker, intake and
// database.
func TestFullSeason(t *testing.T) {
	w := newWorld(t, Config{Seed: 1})
	p := &Player{World: w, Start: starter(w, filepath.Join(t.TempDir(), store.FileName))}
	begun := time.Now()
	played, err := p.Play(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d ticks, %d messages in %s", played.Ticks, played.Messages, time.Since(begun).Round(time.Millisecond))
	if played.Messages < 600_000 {
		t.Errorf("%d messages, want over 600,000", played.Messages)
	}
}
