package store

import (
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"testing"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// pairs runs the limit and the store in turn, once each to warm up and then
// b.N times but at least five, and reports the median of the ratios.
func pairs(b *testing.B, unit string, ratio func() float64) {
	b.Helper()
	ratio()
	var ratios []float64
	for b.Loop() {
		ratios = append(ratios, ratio())
	}
	for len(ratios) < 5 {
		ratios = append(ratios, ratio())
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], unit)
	b.ReportMetric(0, "ns/op")
}

// BenchmarkAppend compares appending groups with putting one record of 20 bytes
// a reading into a bare bbolt bucket: readings per second over those of the
// bare record.
func BenchmarkAppend(b *testing.B) {
	for _, size := range []int{100, 1000, 10000} {
		b.Run(strconv.Itoa(size), func(b *testing.B) {
			db := open(b)
			bare, err := bolt.Open(filepath.Join(b.TempDir(), "bare"), 0o600, &bolt.Options{InitialMmapSize: initialMap(), FreelistType: bolt.FreelistMapType})
			if err != nil {
				b.Fatal(err)
			}
			defer bare.Close() //nolint:errcheck // a benchmark's
			names := make([]string, 200)
			for i := range names {
				names[i] = fmt.Sprintf("rack/upper/%d", i)
			}
			groups := max(20, 20000/size)
			n := 0
			readings := make([]light.Reading, size)
			record := make([]byte, 20*size)
			pairs(b, "xlimit", func() float64 {
				var limit, store time.Duration
				for range groups {
					for i := range readings {
						at := start.Add(time.Duration(n/len(names)) * time.Second)
						readings[i] = light.Reading{
							Sensor: names[n%len(names)], At: at, Value: float64(n%1000) / 10, Mark: light.OwnTime,
							Arrived: at, Boot: 1, Uptime: time.Hour,
						}
						n++
					}
					began := time.Now()
					if err := bare.Update(func(tx *bolt.Tx) error {
						bucket, err := tx.CreateBucketIfNotExists([]byte("groups"))
						if err != nil {
							return err
						}
						seq, err := bucket.NextSequence()
						if err != nil {
							return err
						}
						for i := range readings {
							copy(record[20*i:], sequenceKey(uint64(i))) // stands for laying out 20 bytes
						}
						return bucket.Put(sequenceKey(seq), record)
					}); err != nil {
						b.Fatal(err)
					}
					limit += time.Since(began)
					began = time.Now()
					if _, err := db.Append(b.Context(), readings); err != nil {
						b.Fatal(err)
					}
					store += time.Since(began)
				}
				return limit.Seconds() / store.Seconds()
			})
		})
	}
}
