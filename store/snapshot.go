package store

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime/debug"
	"slices"
	"sync"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// Snapshot is a view of the database as it was at one moment, whatever is
// written meanwhile. It is a light.Source; its methods may be called from
// several goroutines at once. Close it soon: pages that it sees can't be used
// again before. The zero value is empty.
type Snapshot struct {
	path   string // of the database
	tx     *bolt.Tx
	groups *bolt.Bucket
	blocks *bolt.Bucket
	ids    map[string]uint32
	names  []string // in bytewise order, of sensors that have readings
	log    []light.Event
	steps  clockSteps
	reach  int64

	unpack sync.Once
	loose  []light.Series // readings not yet packed, by sensor number, ordered by time
	err    error          // of unpack

	live    *DB          // that it is a view of; nil for a file's own
	release func() error // what else is to be closed; nil for nothing
}

// View opens a snapshot, also of a database that was taken from its place.
func (db *DB) View() (*Snapshot, error) {
	if err := db.InPlace(); errors.Is(err, ErrDamaged) { // bbolt would take its locks along to a page that isn't there
		return nil, err
	}
	s, err := snapshotOf(db.bolt, &db.entries)
	if err != nil {
		return nil, fmt.Errorf("look into %s: %w", db.path, err)
	}
	s.path, s.live = db.path, db
	return s, nil
}

func snapshotOf(b *bolt.DB, entries *logCache) (s *Snapshot, err error) {
	defer guard(debug.SetPanicOnFault(true), &err)
	tx, err := b.Begin(false)
	if err != nil {
		return nil, err
	}
	defer func() {
		if s == nil {
			err = errors.Join(err, tx.Rollback())
		}
	}()
	return newSnapshot(tx, entries)
}

func newSnapshot(tx *bolt.Tx, entries *logCache) (*Snapshot, error) {
	s := &Snapshot{tx: tx, ids: map[string]uint32{}}
	if err := checkParts(tx); err != nil {
		return nil, err
	}
	s.groups, s.blocks = tx.Bucket(bucketGroups), tx.Bucket(bucketBlocks)
	c := tx.Bucket(bucketSensors).Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		x, err := readSensor(k, v)
		if err != nil {
			return nil, err
		}
		s.ids[x.name] = x.id
		s.names = append(s.names, x.name)
		if int(x.id) != len(s.names) {
			return nil, fmt.Errorf("sensor %d has the place of %d: %w", x.id, len(s.names), ErrDamaged)
		}
	}
	slices.Sort(s.names)
	var err error
	if s.log, err = entries.read(tx.Bucket(bucketLog)); err != nil {
		return nil, err
	}
	if s.steps, err = stepsOf(s.log); err != nil {
		return nil, err
	}
	s.reach = s.steps.reach()
	return s, nil
}

// Close ends the snapshot.
func (s *Snapshot) Close() error {
	if s.tx == nil {
		return nil
	}
	err := s.tx.Rollback()
	if s.release != nil {
		err = errors.Join(err, s.release())
	}
	return err
}

// Size is the number of bytes that WriteTo writes.
func (s *Snapshot) Size() int64 { return s.tx.Size() }

// WriteTo writes the snapshot as a database file of its own.
func (s *Snapshot) WriteTo(w io.Writer) (n int64, err error) {
	defer guard(debug.SetPanicOnFault(true), &err)
	return s.tx.WriteTo(w)
}

// Sensors names every sensor that has readings, in bytewise order. The slice
// belongs to the snapshot.
func (s *Snapshot) Sensors() ([]string, error) { return s.names, nil }

// Events lists the whole log, ordered by id. The slice must not be changed.
func (s *Snapshot) Events(context.Context) ([]light.Event, error) { return s.log, nil }

// Series appends to dst the readings of the sensor in the span, ordered by
// time. Arrivals that an untrusted clock dated are given at the time that the
// clock's later steps show. An unknown sensor has no readings.
func (s *Snapshot) Series(ctx context.Context, sensor string, during light.Span, dst *light.Series) error {
	err := s.series(ctx, sensor, during, dst)
	if errors.Is(err, ErrDamaged) {
		return s.damaged(err)
	}
	return err
}

// damaged says that the snapshot's database is damaged, and whether it was left as
// it is.
func (s *Snapshot) damaged(err error) error {
	switch {
	case s.live == nil:
		return untouchedFile(s.path, err)
	case s.live.Checked() && s.live.unsound != nil: // it says so itself
		return err
	}
	return damagedFile(s.path, err)
}

func (s *Snapshot) series(ctx context.Context, sensor string, during light.Span, dst *light.Series) (err error) {
	id, ok := s.ids[sensor]
	if !ok {
		return nil
	}
	if s.live != nil { // a page that is not checked yet may lead in a circle
		select {
		case <-s.live.checked:
			if s.live.unsound != nil {
				return s.live.unsound
			}
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	defer guard(debug.SetPanicOnFault(true), &err)
	if s.unpack.Do(func() { s.err = s.readLoose() }); s.err != nil {
		return s.err
	}
	span := nanosOf(during)
	r := runs{dst: dst, first: dst.Len(), span: span}
	if err := s.readBlocks(ctx, id, span, &r); err != nil {
		return fmt.Errorf("readings of %q: %w", sensor, err)
	}
	r.add(&s.loose[id])
	r.merge()
	s.giveBack(sensor, dst, r.first)
	return nil
}

// nanos is a span in Unix nanoseconds, until excluded.
type nanos struct{ from, until int64 }

func nanosOf(d light.Span) nanos {
	n := nanos{math.MinInt64, math.MaxInt64}
	if !d.From.IsZero() {
		n.from = d.From.UnixNano()
	}
	if !d.Until.IsZero() {
		n.until = d.Until.UnixNano()
	}
	return n
}

// wider is the span stretched by d at both ends.
func (n nanos) wider(d int64) nanos {
	if n.from > math.MinInt64+d {
		n.from -= d
	}
	if n.until < math.MaxInt64-d {
		n.until += d
	}
	return n
}

// readBlocks appends the sensor's packed readings, block by block.
func (s *Snapshot) readBlocks(ctx context.Context, id uint32, span nanos, r *runs) error {
	d := decoders.Get().(*decoder)
	defer decoders.Put(d)
	headers, err := s.blocksOf(id, span.wider(s.reach), d.headers[:0])
	d.headers = headers[:0]
	if err != nil {
		return err
	}
	count := 0
	for i := range headers {
		count += headers[i].expected(span)
	}
	r.dst.Times = slices.Grow(r.dst.Times, count)
	r.dst.Values = slices.Grow(r.dst.Values, count)
	for i := range headers {
		if err := ctx.Err(); err != nil {
			return err
		}
		h := &headers[i]
		if h.inside(span) {
			rebased, err := d.series(h, s.steps, r.dst)
			if err != nil {
				return err
			}
			r.end(rebased)
			continue
		}
		d.part.Reset() // aside, so that a day does not take the memory of a week
		rebased, err := d.series(h, s.steps, &d.part)
		if err != nil {
			return err
		}
		if rebased {
			d.part.Sort()
		}
		r.add(&d.part)
	}
	clear(headers) // they point into the database
	return nil
}

// blocksOf appends the headers of the sensor's blocks that reach into the span
// of raw times.
func (s *Snapshot) blocksOf(id uint32, raw nanos, headers []blockHeader) ([]blockHeader, error) {
	last := blockKey(id, weekOf(raw.until), math.MaxUint16)
	c := s.blocks.Cursor()
	for k, v := c.Seek(blockKey(id, weekOf(raw.from), 0)); k != nil && bytes.Compare(k, last) <= 0; k, v = c.Next() {
		h, err := openBlock(k, v)
		if err != nil {
			return headers, err
		}
		if h.last >= raw.from && h.first < raw.until {
			headers = append(headers, h)
		}
	}
	return headers, nil
}

// readLoose reads all groups once, for all sensors. A page that can't be read
// fails every reader, not only the one that met it.
func (s *Snapshot) readLoose() (err error) {
	defer guard(debug.SetPanicOnFault(true), &err)
	s.loose = make([]light.Series, len(s.names)+1) // numbers begin with 1
	c := s.groups.Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		g, err := readGroup(k, v)
		if err != nil {
			return err
		}
		for g.next() {
			if uint64(g.sensor) >= uint64(len(s.loose)) {
				return fmt.Errorf("group %x names no known sensor: %w", k, ErrDamaged)
			}
			addTo(&s.loose[g.sensor], s.steps.rebase(&g.stored), g.value, g.mark)
		}
		if g.err != nil {
			return g.err
		}
	}
	for i := range s.loose {
		s.loose[i].Sort()
	}
	return nil
}

// addTo is Series.Add for a time that is at hand in nanoseconds.
func addTo(s *light.Series, at int64, value float64, mark light.Mark) {
	if mark&^light.OwnTime != 0 && s.Marks == nil {
		s.Marks = make([]light.Mark, len(s.Times), cap(s.Times))
	}
	s.Times = append(s.Times, at)
	s.Values = append(s.Values, value)
	if s.Marks != nil {
		s.Marks = append(s.Marks, mark)
	}
}
