//go:build !linux

package ingest

import "time"

// sinceBoot is not known here: waking up looks like a step of the clock.
func sinceBoot() time.Duration { return 0 }
