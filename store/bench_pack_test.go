package store

import (
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
)

// BenchmarkPack packs one day of 40 sensors from groups of an hour, a whole
// transaction with its sync, over compressing that day's times and values by
// zstd and nothing else; and it reports what the database does at other times
// with readings that are not yet packed.
func BenchmarkPack(b *testing.B) {
	db := open(b)
	z, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		b.Fatal(err)
	}
	var packed, reloaded time.Duration
	n, week := 0, 0
	var buf []byte
	pairs(b, "xlimit", func() float64 {
		var sensors []*columns
		for k := range 40 { // each time a week of its own, else blocks would grow
			c := simulated(uint64(k), 1, false)
			for i := range c.at {
				c.at[i] += int64(week) * weekSeconds * 1e9
				c.arrived[i] += int64(week) * weekSeconds
			}
			sensors = append(sensors, c)
		}
		week++
		season(b, db, sensors, false)
		began := time.Now()
		for _, c := range sensors {
			buf = z.EncodeAll(rawColumns(c), buf[:0])
		}
		limit := time.Since(began)
		db.write.Lock()
		began = time.Now()
		err := db.reload()
		reloaded += time.Since(began)
		db.write.Unlock()
		if err != nil {
			b.Fatal(err)
		}
		began = time.Now()
		if err := db.Pack(b.Context(), start.Add(1e6*time.Hour)); err != nil {
			b.Fatal(err)
		}
		took := time.Since(began)
		packed, n = packed+took, n+40*1440
		return took.Seconds() / limit.Seconds()
	})
	b.ReportMetric(float64(packed.Nanoseconds())/float64(n), "ns/reading")
	b.ReportMetric(float64(reloaded.Nanoseconds())/float64(n), "reload-ns/reading")
}
