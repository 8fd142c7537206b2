package ingest

import (
	"time"

	"golang.org/x/sys/unix"
)

// sinceBoot is the time since the machine's boot, with the time asleep; 0 if it
// can't be known.
func sinceBoot() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		return 0
	}
	return time.Duration(t.Nano())
}
