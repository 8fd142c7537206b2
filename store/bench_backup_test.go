package store

import (
	"context"
	"errors"
	"math"
	"os"
	"testing"
	"time"

	"parstead/light"
)

// BenchmarkBackup compares a backup through the socket with copying the same
// file into the same folder and syncing it, beside a writer of ten commits a
// second: the copy's time over the backup's. And the longest commit beside any
// backup over the longest in as long a time at rest, and over the longest
// beside the copy.
func BenchmarkBackup(b *testing.B) {
	db, folder := serve(b)
	readings := make([]light.Reading, 20000)
	for n := 0; ; n++ {
		for i := range readings {
			readings[i] = own("a", time.Duration(n*len(readings)+i)*time.Second, math.Pi*float64(n*len(readings)+i))
		}
		mustAppend(b, db, readings...)
		if stats, err := db.Stats(); err != nil {
			b.Fatal(err)
		} else if stats.FileBytes > 400e6 {
			break
		}
	}
	target := folder + "/copy"
	copied := func() {
		from, err := os.Open(db.Path())
		if err != nil {
			b.Fatal(err)
		}
		to, err := os.Create(target)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := to.ReadFrom(from); err != nil {
			b.Fatal(err)
		}
		if err := to.Sync(); err != nil {
			b.Fatal(err)
		}
		if err := errors.Join(to.Close(), from.Close()); err != nil {
			b.Fatal(err)
		}
	}
	backed := func() {
		if err := Backup(b.Context(), folder, target); err != nil {
			b.Fatal(err)
		}
	}
	var alone, besideCopy, besideBackup time.Duration // the longest commits
	timed := func(do func(), longest *time.Duration) (took time.Duration) {
		*longest = max(*longest, longestCommit(b, db, func() {
			began := time.Now()
			do()
			took = time.Since(began)
		}))
		if err := os.Remove(target); err != nil {
			b.Fatal(err)
		}
		return took
	}
	turn := 0
	pairs(b, "xlimit", func() float64 {
		var limit, ours time.Duration
		if turn++; turn%2 == 0 { // neither always comes first
			limit = timed(copied, &besideCopy)
			ours = timed(backed, &besideBackup)
		} else {
			ours = timed(backed, &besideBackup)
			limit = timed(copied, &besideCopy)
		}
		time.Sleep(time.Second) // for the disk to be at rest
		alone = max(alone, longestCommit(b, db, func() { time.Sleep(ours) }))
		return limit.Seconds() / ours.Seconds()
	})
	b.ReportMetric(besideBackup.Seconds()/alone.Seconds(), "xcommit")
	b.ReportMetric(besideBackup.Seconds()/besideCopy.Seconds(), "xcommit-of-cp")
	b.ReportMetric(alone.Seconds()*1e3, "ms-commit-alone")
}

// longestCommit is the longest of ten commits a second while do runs.
func longestCommit(b *testing.B, db *DB, do func()) (longest time.Duration) {
	b.Helper()
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error)
	go func() {
		for {
			select {
			case <-ctx.Done():
				done <- nil
				return
			case <-time.After(100 * time.Millisecond):
			}
			began := time.Now()
			if _, err := db.Append(ctx, []light.Reading{arrival("live", 0, 1)}); err != nil && !errors.Is(err, context.Canceled) {
				done <- err
				return
			}
			longest = max(longest, time.Since(began))
		}
	}()
	do()
	stop()
	if err := <-done; err != nil {
		b.Fatal(err)
	}
	return longest
}
