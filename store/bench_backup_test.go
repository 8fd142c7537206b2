package store

import (
	"context"
	"errors"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"parstead/light"
)

// BenchmarkBackup compares a backup through the socket with copying the file
// and syncing it: the copy's time over the backup's.
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
	alone := longestCommit(b, db, func() { time.Sleep(3 * time.Second) })
	var beside []time.Duration
	pairs(b, "xlimit", func() float64 {
		began := time.Now()
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
		if err := to.Close(); err != nil {
			b.Fatal(err)
		}
		if err := from.Close(); err != nil {
			b.Fatal(err)
		}
		limit := time.Since(began)
		if err := os.Remove(target); err != nil {
			b.Fatal(err)
		}
		var took time.Duration
		beside = append(beside, longestCommit(b, db, func() {
			began = time.Now()
			if err := Backup(b.Context(), folder, target); err != nil {
				b.Fatal(err)
			}
			took = time.Since(began)
		}))
		if err := os.Remove(target); err != nil {
			b.Fatal(err)
		}
		return limit.Seconds() / took.Seconds()
	})
	slices.Sort(beside)
	b.ReportMetric(beside[len(beside)/2].Seconds()/alone.Seconds(), "xcommit")
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
