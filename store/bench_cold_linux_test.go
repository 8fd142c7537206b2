package store

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"parstead/light"
)

// BenchmarkCold opens, decodes and integrates a packed database of 40 sensors ×
// 100 days that is not in the page cache, over the same with it cached.
func BenchmarkCold(b *testing.B) {
	folder := b.TempDir()
	db, err := Open(filepath.Join(folder, FileName), Options{})
	if err != nil {
		b.Fatal(err)
	}
	var sensors []*columns
	for k := range 40 {
		sensors = append(sensors, simulated(uint64(k), 100, false))
	}
	season(b, db, sensors, true)
	if err := db.Close(); err != nil {
		b.Fatal(err)
	}
	read := func() time.Duration {
		began := time.Now()
		s, err := OpenFolder(b.Context(), folder)
		if err != nil {
			b.Fatal(err)
		}
		var series light.Series
		for k := range sensors {
			series.Reset()
			if err := s.Series(b.Context(), fmt.Sprintf("sensor %d", k), light.Span{}, &series); err != nil {
				b.Fatal(err)
			}
			trapezoid(series.Times, series.Values)
		}
		if err := s.Close(); err != nil {
			b.Fatal(err)
		}
		return time.Since(began)
	}
	pairs(b, "xcached", func() float64 {
		cached := read()
		f, err := os.Open(filepath.Join(folder, FileName))
		if err != nil {
			b.Fatal(err)
		}
		if err := f.Sync(); err != nil {
			b.Fatal(err)
		}
		if err := unix.Fadvise(int(f.Fd()), 0, 0, unix.FADV_DONTNEED); err != nil {
			b.Fatal(err)
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
		return read().Seconds() / cached.Seconds()
	})
}
