package demo

import (
	"sync/atomic"
	"time"

	"parstead/ingest"
)

// clock is the season's time: it stands still but when the player moves it on.
type clock struct {
	season atomic.Int64 // true time, Unix nanoseconds
	behind atomic.Int64 // how far the daemon's clock lags, nanoseconds
	zone   *time.Location
}

func (c *clock) set(t time.Time) { c.season.Store(t.UnixNano()) }

// lag makes the daemon's clock show less than the truth.
func (c *clock) lag(by time.Duration) { c.behind.Store(int64(by)) }

// machine is the clock of a daemon that starts now.
func (c *clock) machine() ingest.Clock {
	started := c.season.Load()
	return ingest.Clock{
		Now:    func() time.Time { return time.Unix(0, c.season.Load()-c.behind.Load()).In(c.zone) },
		Uptime: func() time.Duration { return time.Duration(c.season.Load() - started) },
	}
}
