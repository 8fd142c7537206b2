package store

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// packBatch bounds the readings that one packing transaction takes, and so how
// long an append may have to wait for it.
const packBatch = 1 << 17

// Pack moves the groups that arrived before the given time into blocks, one a
// sensor and week (further pieces for a week of very many readings), each in
// the transaction that removes the groups. It works in several transactions,
// between which appends go on.
func (db *DB) Pack(ctx context.Context, before time.Time) error {
	p, err := newPacking()
	if err != nil {
		return fmt.Errorf("pack: %w", err)
	}
	defer packings.Put(p)
	for {
		more, err := db.packSome(ctx, p, before.Unix())
		if err != nil {
			return fmt.Errorf("pack: %w", err)
		}
		if !more {
			return nil
		}
	}
}

// packSome packs the oldest groups; it tells whether others are left.
func (db *DB) packSome(ctx context.Context, p *packing, before int64) (more bool, err error) {
	db.write.Lock()
	defer db.write.Unlock()
	if err := ctx.Err(); err != nil {
		return false, err
	}
	p.begin(&db.state)
	if err := db.view(func(tx *bolt.Tx) error { return p.gather(tx, before) }); err != nil {
		return false, err
	}
	if len(p.keys) == 0 {
		return false, nil
	}
	err = db.update(func(tx *bolt.Tx) error {
		if err := p.writeSensors(tx.Bucket(bucketSensors)); err != nil {
			return err
		}
		if err := p.writeBlocks(tx.Bucket(bucketBlocks)); err != nil {
			return err
		}
		groups := tx.Bucket(bucketGroups)
		for _, key := range p.keys {
			if err := groups.Delete(key); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return false, db.undo(err)
	}
	db.mu.Lock()
	for i, x := range db.state.byID {
		n := p.sensors[i+1].count
		x.packed += n
		x.loose -= n
	}
	db.mu.Unlock()
	return p.more, nil
}

// packing is one transaction's worth of groups, sorted by sensor and week. Its
// memory serves again.
type packing struct {
	encoder *encoder
	keys    [][]byte // of the groups taken
	last    uint64   // number of the last of them
	more    bool
	weeks   map[sensorWeek]*columns
	sensors []packedSensor // by a sensor's number, which counts from 1
	steps   clockSteps
	spare   []*columns
	joined  columns // a week's last block and what joins it
}

// packings keeps the memory of one transaction for the next one soon after; the
// garbage collector takes what lies idle.
var packings sync.Pool

func newPacking() (*packing, error) {
	if p, ok := packings.Get().(*packing); ok {
		return p, nil
	}
	e, err := newEncoder()
	return &packing{encoder: e, weeks: map[sensorWeek]*columns{}}, err
}

// packedSensor is what a packing adds to a sensor's record.
type packedSensor struct {
	count     uint64
	newestOwn int64
	latestAt  int64    // rebased
	latestIn  *columns // nil for none
	latest    int      // its place there

	expected int   // readings, in the first week
	from     int64 // where the week of the reading before begins
	readings *columns
}

// begin forgets what was packed before.
func (p *packing) begin(s *state) {
	for _, c := range p.weeks {
		c.reset()
		p.spare = append(p.spare, c)
	}
	clear(p.weeks)
	p.keys, p.more, p.steps = p.keys[:0], false, s.steps
	p.sensors = slices.Grow(p.sensors[:0], len(s.byID)+1)[:len(s.byID)+1]
	for _, x := range s.byID {
		p.sensors[x.id] = packedSensor{newestOwn: math.MinInt64, latestAt: math.MinInt64, expected: int(min(x.loose, packBatch))}
	}
}

// room is where a week's readings go.
func (p *packing) room(expected int) *columns {
	if n := len(p.spare); n > 0 {
		c := p.spare[n-1]
		p.spare = p.spare[:n-1]
		return c
	}
	return newColumns(expected)
}

// gather takes the oldest groups that arrived before the time, in their order.
func (p *packing) gather(tx *bolt.Tx, before int64) error {
	readings := 0
	c := tx.Bucket(bucketGroups).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		g, err := readGroup(k, v)
		if err != nil {
			return err
		}
		// A clock that ran ahead must not hold up what came after it was set.
		if g.arrived+p.steps.shift(g.boot, g.uptime)/1e9 >= before {
			return nil
		}
		if readings >= packBatch {
			p.more = true
			return nil
		}
		readings += g.left
		for g.next() {
			if g.sensor == 0 || int64(g.sensor) >= int64(len(p.sensors)) {
				return fmt.Errorf("group %x names no known sensor: %w", k, ErrDamaged)
			}
			p.take(&g.stored)
		}
		if g.err != nil {
			return g.err
		}
		p.keys = append(p.keys, bytes.Clone(k))
		p.last = numberOf(k)
	}
	return nil
}

func (p *packing) take(r *stored) {
	const week = weekSeconds * 1e9
	s := &p.sensors[r.sensor]
	if s.readings == nil || uint64(r.at-s.from) >= week { // before it, too
		key := sensorWeek{r.sensor, weekOf(r.at)}
		if p.weeks[key] == nil {
			p.weeks[key], s.expected = p.room(s.expected), 0
		}
		s.from, s.readings = int64(key.week)*week, p.weeks[key]
	}
	if r.mark&light.OwnTime != 0 && s.newestOwn < r.at {
		s.newestOwn = r.at
	}
	if r.mark.Usable() {
		if at := p.steps.rebase(r); at >= s.latestAt {
			s.latestAt, s.latestIn, s.latest = at, s.readings, s.readings.len()
		}
	}
	s.readings.add(r)
	s.count++
}

// writeBlocks joins each week's readings with the last block that the week has
// and writes the result.
func (p *packing) writeBlocks(blocks *bolt.Bucket) error {
	order := slices.SortedFunc(maps.Keys(p.weeks), func(a, b sensorWeek) int {
		return cmp.Or(cmp.Compare(a.sensor, b.sensor), cmp.Compare(a.week, b.week))
	})
	for _, key := range order {
		readings := p.weeks[key]
		piece, err := lastPiece(blocks, key, &p.joined)
		if err != nil {
			return err
		}
		if p.joined.len() > 0 {
			p.joined.join(readings)
			readings = &p.joined
		}
		readings.sort()
		for from := 0; from < readings.len(); from += maxBlock {
			if piece == math.MaxUint16 {
				return fmt.Errorf("sensor %d has too many readings in one week", key.sensor)
			}
			k := blockKey(key.sensor, key.week, piece)
			part := readings.part(from, min(from+maxBlock, readings.len()))
			if err := blocks.Put(k, p.encoder.block(k, part, p.last)); err != nil {
				return err
			}
			piece++
		}
	}
	return nil
}

// lastPiece reads the week's last block into c, unless it is full or there is
// none: then it gives the number of the next, and no readings.
func lastPiece(blocks *bolt.Bucket, key sensorWeek, c *columns) (piece uint16, err error) {
	c.reset()
	prefix := blockKey(key.sensor, key.week, 0)[:blockKeySize-2]
	cursor := blocks.Cursor()
	var lastKey, last []byte
	for k, v := cursor.Seek(prefix); bytes.HasPrefix(k, prefix); k, v = cursor.Next() {
		lastKey, last = k, v
	}
	if last == nil {
		return 0, nil
	}
	_, _, piece, _ = splitBlockKey(lastKey)
	h, err := openBlock(lastKey, last)
	if err != nil {
		return 0, err
	}
	if h.count == maxBlock {
		return piece + 1, nil
	}
	return piece, readBlock(lastKey, last, c)
}

// writeSensors brings the sensors' records up to what is packed now, while the
// readings gathered are still in the order of arrival.
func (p *packing) writeSensors(sensors *bolt.Bucket) error {
	for id := range p.sensors {
		s := &p.sensors[id]
		if s.count == 0 {
			continue
		}
		key := sequenceKey(uint64(id))
		x, err := readSensor(key, sensors.Get(key))
		if err != nil {
			return err
		}
		if s.latestIn != nil && (!x.hasLatest || s.latestAt >= p.steps.rebase(&x.latest)) {
			x.latest, x.hasLatest = s.latestIn.reading(uint32(id), s.latest), true
		}
		latest := &x.latest
		if !x.hasLatest {
			latest = nil
		}
		if err := sensors.Put(key, x.record(key, x.packed+s.count, max(x.newestOwn, s.newestOwn), latest)); err != nil {
			return err
		}
	}
	return nil
}
