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

// 154 clean days raise no condition; 154 days with faults raise one for each.
func TestWatchOverFullSeasons(t *testing.T) {
	for seed := range uint64(3) {
		for _, quiet := range []bool{true, false} {
			w := newWorld(t, Config{Seed: seed, Quiet: quiet})
			faults, alarms, err := w.Faults(t.Context(), w.Readings(Every), time.Hour)
			if err != nil {
				t.Fatal(err)
			}
			for _, a := range alarms {
				if quiet {
					t.Errorf("seed %d, %v on day %d: %s", seed, a.Cause(), w.dayNumber(a.At), a.Says)
				}
			}
			for _, f := range faults {
				if f.Found.IsZero() {
					t.Errorf("seed %d: not found: %s", seed, f.Planted)
				} else {
					t.Logf("seed %d: %s: found after %s", seed, f.Planted, f.Found.Sub(f.From))
				}
			}
		}
	}
}
