//go:build !linux

package ingest

import "time"

var processStart = time.Now()

// sinceBoot is monotonic. Where it stands still while the machine sleeps, waking
// up looks like a step of the clock.
func sinceBoot() time.Duration { return time.Since(processStart) }
