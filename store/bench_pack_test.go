package store

import (
	"bytes"
	"path/filepath"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	bolt "go.etcd.io/bbolt"
)

// BenchmarkPack packs readings out of groups of an hour: a day of 40 sensors, a
// week of 8 at once, and the seventh day of 8 sensors, which joins six days
// that are packed. The limit is the same readings' times and values through
// zstd by an encoder that is used again (where days are joined: those six
// unpacked and all seven packed).
//
//	xzstd   nobody syncs; the limit is zstd alone
//	xlimit  both sync; the limit is zstd and a transaction of bare bbolt that
//	        takes out records as long as the groups and puts in records as long
//	        as the blocks
func BenchmarkPack(b *testing.B) {
	for _, c := range []struct {
		name                  string
		sensors, days, packed int
	}{{"day", 40, 1, 0}, {"week", 8, 7, 0}, {"joined", 8, 7, 6}} {
		for _, sync := range []bool{false, true} {
			unit := "xzstd"
			if sync {
				unit = "xlimit"
			}
			b.Run(c.name+"/"+unit, func(b *testing.B) {
				p := newPackPair(b, c.sensors, c.days, c.packed, sync)
				pairs(b, unit, p.ratio)
				n := float64(p.runs * c.sensors * (c.days - c.packed) * 1440)
				b.ReportMetric(float64(p.ours.Nanoseconds())/n, "ns/reading")
				b.ReportMetric(float64(p.limit.Nanoseconds())/n, "limit-ns/reading")
			})
		}
	}
}

// packPair is the store and its limit.
type packPair struct {
	b                *testing.B
	db               *DB
	bare             *bolt.DB
	z                *zstd.Encoder
	unz              *zstd.Decoder
	sensors          []*columns // a week's
	packed, all      [][]byte   // of each sensor: what is packed before as zstd has it, and all as it stands in memory
	days, packedDays int
	sync             bool
	buf              []byte

	runs        int
	ours, limit time.Duration
}

func newPackPair(b *testing.B, sensors, days, packed int, sync bool) *packPair {
	b.Helper()
	p := &packPair{b: b, db: open(b), days: days, packedDays: packed, sync: sync}
	var err error
	if p.bare, err = bolt.Open(filepath.Join(b.TempDir(), "bare"), 0o600, &bolt.Options{InitialMmapSize: initialMap(), FreelistType: bolt.FreelistMapType}); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = p.bare.Close() })
	p.bare.AllocSize = growth
	p.db.bolt.NoSync, p.bare.NoSync = !sync, !sync
	if p.z, err = zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1)); err != nil {
		b.Fatal(err)
	}
	if p.unz, err = zstd.NewReader(nil, zstd.WithDecoderConcurrency(1)); err != nil {
		b.Fatal(err)
	}
	for k := range sensors {
		c := simulated(uint64(k), days, false)
		p.sensors = append(p.sensors, c)
		p.all = append(p.all, rawColumns(c))
		p.packed = append(p.packed, p.z.EncodeAll(rawColumns(c.part(0, packed*1440)), nil))
	}
	p.shift(weekSeconds - start.Unix()%weekSeconds) // to where a week begins
	return p
}

// shift moves all readings by so many seconds.
func (p *packPair) shift(by int64) {
	for _, c := range p.sensors {
		for i := range c.at {
			c.at[i] += by * 1e9
			c.arrived[i] += by
		}
	}
}

// ratio packs a week that is new and measures how long both took.
func (p *packPair) ratio() float64 {
	b := p.b
	b.Helper()
	before := p.part(0, p.packedDays)
	if p.packedDays > 0 {
		season(b, p.db, before, false)
		p.pack()
	}
	season(b, p.db, p.part(p.packedDays, p.days), false)
	groups, blocks := p.records()
	began := time.Now()
	p.pack()
	ours := time.Since(began)
	_, after := p.records()
	for k := range blocks {
		delete(after, k)
	}
	limit := p.compress()
	if p.sync {
		limit += p.transact(groups, after)
	}
	p.ours, p.limit, p.runs = p.ours+ours, p.limit+limit, p.runs+1
	p.shift(weekSeconds)
	return ours.Seconds() / limit.Seconds()
}

func (p *packPair) part(from, until int) (part []*columns) {
	for _, c := range p.sensors {
		part = append(part, c.part(from*1440, until*1440))
	}
	return part
}

func (p *packPair) pack() {
	if err := p.db.Pack(p.b.Context(), start.Add(1e6*time.Hour)); err != nil {
		p.b.Fatal(err)
	}
}

// compress is what zstd alone takes.
func (p *packPair) compress() time.Duration {
	began := time.Now()
	for k := range p.all {
		if p.packedDays > 0 {
			var err error
			if p.buf, err = p.unz.DecodeAll(p.packed[k], p.buf[:0]); err != nil {
				p.b.Fatal(err)
			}
		}
		p.buf = p.z.EncodeAll(p.all[k], p.buf[:0])
	}
	return time.Since(began)
}

// records are the groups, and the blocks by key and checksum.
func (p *packPair) records() (groups [][]byte, blocks map[string][]byte) {
	blocks = map[string][]byte{}
	err := p.db.bolt.View(func(tx *bolt.Tx) error {
		c := tx.Bucket(bucketGroups).Cursor()
		for k, v := c.First(); k != nil; k, v = c.Next() {
			groups = append(groups, bytes.Clone(v))
		}
		c = tx.Bucket(bucketBlocks).Cursor()
		for k, v := c.First(); k != nil; k, v = c.Next() {
			blocks[string(k)+string(v[len(v)-sealSize:])] = bytes.Clone(v)
		}
		return nil
	})
	if err != nil {
		p.b.Fatal(err)
	}
	return groups, blocks
}

// transact is what a bare transaction takes that does the same to its pages.
func (p *packPair) transact(groups [][]byte, blocks map[string][]byte) time.Duration {
	var keys [][]byte
	err := p.bare.Update(func(tx *bolt.Tx) error {
		loose, err := tx.CreateBucketIfNotExists(bucketGroups)
		if err != nil {
			return err
		}
		for _, g := range groups {
			n, err := loose.NextSequence()
			if err != nil {
				return err
			}
			keys = append(keys, sequenceKey(n))
			if err := loose.Put(sequenceKey(n), g); err != nil {
				return err
			}
		}
		_, err = tx.CreateBucketIfNotExists(bucketBlocks)
		return err
	})
	if err != nil {
		p.b.Fatal(err)
	}
	began := time.Now()
	err = p.bare.Update(func(tx *bolt.Tx) error {
		packed := tx.Bucket(bucketBlocks)
		for k, v := range blocks {
			if err := packed.Put([]byte(k[:blockKeySize]), v); err != nil {
				return err
			}
		}
		for _, k := range keys {
			if err := tx.Bucket(bucketGroups).Delete(k); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		p.b.Fatal(err)
	}
	return time.Since(began)
}
