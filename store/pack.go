package store

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
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
	e, err := newEncoder()
	if err != nil {
		return fmt.Errorf("pack: %w", err)
	}
	for {
		more, err := db.packSome(ctx, e, before.Unix())
		if err != nil {
			return fmt.Errorf("pack: %w", err)
		}
		if !more {
			return nil
		}
	}
}

// packSome packs the oldest groups; it tells whether others are left.
func (db *DB) packSome(ctx context.Context, e *encoder, before int64) (more bool, err error) {
	db.write.Lock()
	defer db.write.Unlock()
	if err := ctx.Err(); err != nil {
		return false, err
	}
	p := packing{
		encoder: e, steps: db.state.steps,
		weeks: map[sensorWeek]*[]stored{}, sensors: make([]packedSensor, len(db.state.byID)+1),
	}
	for _, x := range db.state.byID {
		p.sensors[x.id].expected = min(x.loose, packBatch)
	}
	if err := db.view(func(tx *bolt.Tx) error { return p.gather(tx, before) }); err != nil {
		return false, err
	}
	if len(p.keys) == 0 {
		return false, nil
	}
	err = db.update(func(tx *bolt.Tx) error {
		if err := p.writeBlocks(tx.Bucket(bucketBlocks)); err != nil {
			return err
		}
		if err := p.writeSensors(tx.Bucket(bucketSensors)); err != nil {
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

// packing is one transaction's worth of groups, sorted by sensor and week.
type packing struct {
	encoder *encoder
	keys    [][]byte // of the groups taken
	last    uint64   // number of the last of them
	more    bool
	weeks   map[sensorWeek]*[]stored
	sensors []packedSensor // by number; the first is nobody's
	steps   clockSteps
}

// packedSensor is what a packing adds to a sensor's record.
type packedSensor struct {
	count     uint64
	newestOwn int64
	hasOwn    bool
	latest    *stored // nil for none

	expected uint64 // readings, in the first week
	week     int32  // of the reading before
	readings *[]stored
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
	s := &p.sensors[r.sensor]
	if week := weekOf(r.at); s.readings == nil || s.week != week {
		key := sensorWeek{r.sensor, week}
		if p.weeks[key] == nil {
			readings := make([]stored, 0, s.expected)
			p.weeks[key], s.expected = &readings, 0
		}
		s.week, s.readings = week, p.weeks[key]
	}
	*s.readings = append(*s.readings, *r)
	if r.mark&light.OwnTime != 0 && (s.newestOwn < r.at || !s.hasOwn) {
		s.newestOwn, s.hasOwn = r.at, true
	}
	if r.mark.Usable() && (s.latest == nil || p.steps.rebase(r) >= p.steps.rebase(s.latest)) {
		s.latest = &(*s.readings)[len(*s.readings)-1]
	}
	s.count++
}

// writeBlocks joins each week's readings with the last block that the week has
// and writes the result.
func (p *packing) writeBlocks(blocks *bolt.Bucket) error {
	order := slices.SortedFunc(maps.Keys(p.weeks), func(a, b sensorWeek) int {
		return cmp.Or(cmp.Compare(a.sensor, b.sensor), cmp.Compare(a.week, b.week))
	})
	for _, key := range order {
		fresh := *p.weeks[key]
		piece, readings, err := lastPiece(blocks, key, len(fresh))
		if err != nil {
			return err
		}
		for i := range fresh {
			readings.add(&fresh[i])
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

// lastPiece is the week's last block, unless it is full or there is none: then
// the number of the next, without readings. There is room for more of them.
func lastPiece(blocks *bolt.Bucket, key sensorWeek, more int) (piece uint16, c *columns, err error) {
	prefix := blockKey(key.sensor, key.week, 0)[:blockKeySize-2]
	cursor := blocks.Cursor()
	var lastKey, last []byte
	for k, v := cursor.Seek(prefix); bytes.HasPrefix(k, prefix); k, v = cursor.Next() {
		lastKey, last = k, v
	}
	if last == nil {
		return 0, newColumns(more), nil
	}
	_, _, piece, _ = splitBlockKey(lastKey)
	h, err := openBlock(lastKey, last)
	if err != nil {
		return 0, nil, err
	}
	if h.count == maxBlock {
		return piece + 1, newColumns(more), nil
	}
	c = newColumns(h.count + more)
	return piece, c, readBlock(lastKey, last, c)
}

// writeSensors brings the sensors' records up to what is packed now.
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
		latest := &x.latest
		if s.latest != nil && (!x.hasLatest || p.steps.rebase(s.latest) >= p.steps.rebase(latest)) {
			latest = s.latest
		} else if !x.hasLatest {
			latest = nil
		}
		newest := x.newestOwn
		if s.hasOwn {
			newest = max(newest, s.newestOwn)
		}
		if err := sensors.Put(key, x.record(key, x.packed+s.count, newest, latest)); err != nil {
			return err
		}
	}
	return nil
}
