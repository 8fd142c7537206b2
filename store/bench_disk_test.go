package store

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// simulated is a quantum sensor's season under a lamp that is lit 14 h a day: a
// plateau that sags slowly, noise of half a per cent, tenths as the unit, a
// reading a minute; own times in whole seconds, or with a jitter of a few
// milliseconds.
func simulated(seed uint64, days int, jitter bool) *columns {
	r := rand.New(rand.NewPCG(seed, 1))
	c := &columns{}
	drift := 0.0
	late := int64(0)
	for i := range days * 1440 {
		at := start.Add(time.Duration(i) * time.Minute).UnixNano()
		if jitter {
			late += int64(math.Round(r.NormFloat64() * 1.5))
			at += (late + 20) * 1e6
		}
		value := 0.0
		if minute := i % 1440; minute < 14*60 {
			drift += r.NormFloat64() * 0.002
			value = math.Round((85*(1-0.05*float64(i)/(182*1440))+drift+r.NormFloat64()*0.43)*10) / 10
		}
		c.add(&stored{
			at: at, value: value, mark: light.OwnTime,
			arrived: secondOf(at), boot: 1, uptime: secondOf(at) - start.Unix() + 100,
		})
	}
	return c
}

// entropy estimates what a reading takes at least, in bytes: the order-zero
// entropy of the steps of the times plus that of the steps of the values, the
// latter told apart by lit and dark.
func entropy(c *columns) float64 {
	times, lit, dark := map[int64]int{}, map[int64]int{}, map[int64]int{}
	for i := 1; i < c.len(); i++ {
		times[c.at[i]-c.at[i-1]]++
		step := int64(math.Round((c.value[i] - c.value[i-1]) * 10))
		if c.value[i] > 0 {
			lit[step]++
		} else {
			dark[step]++
		}
	}
	bits := 0.0
	for _, counts := range []map[int64]int{times, lit, dark} {
		n := 0
		for _, k := range counts {
			n += k
		}
		for _, k := range counts {
			bits -= float64(k) * math.Log2(float64(k)/float64(n))
		}
	}
	return bits / 8 / float64(c.len())
}

// season appends the readings day by day, as a daemon would, and packs each
// night. It returns the most bytes that were ever live.
func season(tb testing.TB, db *DB, sensors []*columns, pack bool) (mostLive int64) {
	tb.Helper()
	var group []light.Reading
	days := sensors[0].len() / 1440
	for day := range days {
		for hour := range 24 {
			group = group[:0]
			for minute := range 60 {
				for k, c := range sensors {
					i := day*1440 + hour*60 + minute
					s := c.reading(0, i)
					group = append(group, s.reading(fmt.Sprintf("sensor %d", k)))
				}
			}
			mustAppend(tb, db, group...)
		}
		stats, err := db.Stats()
		if err != nil {
			tb.Fatal(err)
		}
		mostLive = max(mostLive, stats.LiveBytes)
		if pack {
			if err := db.Pack(tb.Context(), start.Add(time.Duration(day+1)*24*time.Hour)); err != nil {
				tb.Fatal(err)
			}
		}
	}
	return mostLive
}

// zstdColumns is what zstd makes of the columns as they stand in memory, in
// blocks of 30 days.
func zstdColumns(tb testing.TB, c *columns) (bytes int) {
	tb.Helper()
	z, err := zstd.NewWriter(nil)
	if err != nil {
		tb.Fatal(err)
	}
	for from := 0; from < c.len(); from += 30 * 1440 {
		bytes += len(z.EncodeAll(rawColumns(c.part(from, min(from+30*1440, c.len()))), nil))
	}
	return bytes
}

// rawColumns lays the times and values out as they stand in memory.
func rawColumns(c *columns) []byte {
	b := make([]byte, 0, 16*c.len())
	for i := range c.at {
		b = binary.LittleEndian.AppendUint64(b, uint64(c.at[i]))
	}
	for i := range c.value {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(c.value[i]))
	}
	return b
}

// BenchmarkOnDisk measures a packed season of 8 sensors × 182 days: bytes a
// reading in live pages over the entropy estimate, and by how much the file
// exceeds the most that was live at the end of any day, in steps of 2 MiB.
func BenchmarkOnDisk(b *testing.B) {
	for _, jitter := range []bool{false, true} {
		name := "seconds"
		if jitter {
			name = "milliseconds"
		}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				db := open(b)
				var sensors []*columns
				estimate, zipped := 0.0, 0
				for k := range 8 {
					c := simulated(uint64(k), 182, jitter)
					sensors = append(sensors, c)
					estimate += entropy(c) / 8
					zipped += zstdColumns(b, c)
				}
				readings := float64(8 * sensors[0].len())
				most := season(b, db, sensors, true)
				stats, err := db.Stats()
				if err != nil {
					b.Fatal(err)
				}
				live := float64(stats.LiveBytes) / readings
				b.ReportMetric(estimate, "entropy-B/reading")
				b.ReportMetric(float64(zipped)/readings, "zstd-B/reading")
				b.ReportMetric(payload(b, db)/readings, "payload-B/reading")
				b.ReportMetric(live, "live-B/reading")
				b.ReportMetric(live/estimate, "xlimit")
				b.ReportMetric(float64(stats.FileBytes-most)/(2<<20), "xstep") // of 2 MiB
				b.ReportMetric(float64(stats.FileBytes)/1e6, "file-MB")
				b.ReportMetric(0, "ns/op")
			}
		})
	}
}

// payload is the sum of the blocks' records.
func payload(tb testing.TB, db *DB) (bytes float64) {
	tb.Helper()
	s, err := db.View()
	if err != nil {
		tb.Fatal(err)
	}
	defer s.Close() //nolint:errcheck // a reading transaction
	c := s.blocks.Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		bytes += float64(len(v))
	}
	return bytes
}

// BenchmarkLoose measures readings that are not yet packed: bytes a reading in
// live pages over those of bare bbolt with records of 1,000 readings of 20 bytes,
// which fill their pages.
func BenchmarkLoose(b *testing.B) {
	for b.Loop() {
		db := open(b)
		before, err := db.Stats()
		if err != nil {
			b.Fatal(err)
		}
		sensors := []*columns{simulated(1, 20, true), simulated(2, 20, true)}
		season(b, db, sensors, false)
		stats, err := db.Stats()
		if err != nil {
			b.Fatal(err)
		}
		readings := 2 * sensors[0].len()
		live := float64(stats.LiveBytes-before.LiveBytes) / float64(readings)
		limit := bareLoose(b, readings/1000, 1000) / float64(readings/1000*1000)
		b.ReportMetric(live, "live-B/reading")
		b.ReportMetric(limit, "bare-B/reading")
		b.ReportMetric(live/limit, "xlimit")
		b.ReportMetric(0, "ns/op")
	}
}

// bareLoose is how many bytes of live pages bare bbolt takes for groups of
// readings of 20 bytes, a record and a transaction each.
func bareLoose(b *testing.B, groups, readings int) float64 {
	b.Helper()
	bare, err := bolt.Open(filepath.Join(b.TempDir(), "bare"), 0o600, &bolt.Options{NoSync: true})
	if err != nil {
		b.Fatal(err)
	}
	defer bare.Close() //nolint:errcheck // a benchmark's
	live := func() (bytes int64) {
		err := bare.View(func(tx *bolt.Tx) error {
			bytes = tx.Size()
			return nil
		})
		if err != nil {
			b.Fatal(err)
		}
		s := bare.Stats()
		return bytes - int64(s.FreePageN+s.PendingPageN)*int64(bare.Info().PageSize)
	}
	before := live()
	record := make([]byte, 20*readings)
	for range groups {
		err := bare.Update(func(tx *bolt.Tx) error {
			bucket, err := tx.CreateBucketIfNotExists(bucketGroups)
			if err != nil {
				return err
			}
			bucket.FillPercent = 1 // keys only grow
			n, err := bucket.NextSequence()
			if err != nil {
				return err
			}
			return bucket.Put(sequenceKey(n), record)
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return float64(live() - before)
}

// BenchmarkEncode compares encoding a day into blocks with compressing the
// same columns by zstd alone.
func BenchmarkEncode(b *testing.B) {
	c := simulated(1, 7, false)
	raw := rawColumns(c)
	z, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1))
	if err != nil {
		b.Fatal(err)
	}
	e, err := newEncoder()
	if err != nil {
		b.Fatal(err)
	}
	var limit, ours time.Duration
	var buf []byte
	n := 0
	pairs(b, "xlimit", func() float64 {
		began := time.Now()
		for range 20 {
			buf = z.EncodeAll(raw, buf[:0])
		}
		a := time.Since(began)
		began = time.Now()
		for range 20 {
			e.block(nil, c, 1)
		}
		t := time.Since(began)
		limit, ours, n = limit+a, ours+t, n+20*c.len()
		return t.Seconds() / a.Seconds()
	})
	b.ReportMetric(float64(ours.Nanoseconds())/float64(n), "ns/reading")
	b.ReportMetric(float64(limit.Nanoseconds())/float64(n), "zstd-ns/reading")
}

// BenchmarkSeries decodes and integrates a packed season of 8 sensors × 182
// days, on one core, against integrating the same arrays in memory.
func BenchmarkSeries(b *testing.B) {
	for _, jitter := range []bool{false, true} {
		b.Run(fmt.Sprintf("jitter=%v", jitter), func(b *testing.B) {
			db := open(b)
			var sensors []*columns
			for k := range 8 {
				sensors = append(sensors, simulated(uint64(k), 182, jitter))
			}
			season(b, db, sensors, true)
			readings := 8 * sensors[0].len()
			var total time.Duration
			n := 0
			sink := 0.0
			var series light.Series
			pairs(b, "xlimit", func() float64 {
				began := time.Now()
				for _, c := range sensors {
					sink += trapezoid(c.at, c.value)
				}
				limit := time.Since(began)
				began = time.Now()
				s, err := db.View()
				if err != nil {
					b.Fatal(err)
				}
				for k := range sensors {
					series.Reset()
					if err := s.Series(b.Context(), fmt.Sprintf("sensor %d", k), light.Span{}, &series); err != nil {
						b.Fatal(err)
					}
					sink -= trapezoid(series.Times, series.Values)
				}
				if err := s.Close(); err != nil {
					b.Fatal(err)
				}
				took := time.Since(began)
				total, n = total+took, n+readings
				return took.Seconds() / limit.Seconds()
			})
			if math.Abs(sink) > 1 {
				b.Errorf("the integrals differ by %v", sink)
			}
			b.ReportMetric(float64(total.Nanoseconds())/float64(n), "ns/reading")
		})
	}
}

func trapezoid(at []int64, value []float64) (sum float64) {
	for i := 1; i < len(at); i++ {
		if gap := at[i] - at[i-1]; gap <= 600e9 {
			sum += float64(gap) * (value[i] + value[i-1])
		}
	}
	return sum / 2e9 / light.MicromolesPerMole
}
