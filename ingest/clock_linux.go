package ingest

import (
	"time"

	"golang.org/x/sys/unix"
)

// sinceBoot is monotonic and goes on while the machine sleeps, so that waking up
// is not taken for a step of the clock.
func sinceBoot() time.Duration {
	var t unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &t); err != nil {
		panic("ingest: no boot-time clock: " + err.Error()) // Linux has had it since 2.6.39
	}
	return time.Duration(t.Nano())
}
