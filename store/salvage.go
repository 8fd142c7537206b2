package store

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// Salvaged tells what Salvage found.
type Salvaged struct {
	Readings   int
	Events     int
	Sensors    int
	Unnamed    []string // stand-in names of sensors of which the name is lost
	Unreadable int      // records that failed their checksum
}

// Salvage reads what can be read of a damaged database and writes it into a
// new one at out. It looks at every page of the file, whatever leads there, and
// takes each record whose checksum holds; the damaged file is only read. Pages
// that were free may bring back older copies of what stands elsewhere: a
// reading is taken as often as the record holds it that holds it most often.
func Salvage(ctx context.Context, path, out string) (Salvaged, error) {
	if _, err := os.Lstat(out); err == nil {
		return Salvaged{}, fmt.Errorf("salvage: %s exists already: move it away first", out)
	}
	w, err := sift(ctx, path)
	if err != nil {
		return Salvaged{}, fmt.Errorf("salvage %s: %w", path, err)
	}
	if len(w.weeks) == 0 && len(w.events) == 0 {
		return Salvaged{Unreadable: w.unreadable}, fmt.Errorf("salvage: nothing in %s can be read as readings or log: name a damaged %s, or bring back a backup, which needs no --salvage (%w)", path, FileName, ErrDamaged)
	}
	found, err := w.write(ctx, out)
	if err != nil {
		return found, fmt.Errorf("salvage into %s: %w", out, err)
	}
	return found, nil
}

// wreck is what was found in a damaged file.
type wreck struct {
	names      map[uint32]string
	events     map[uint64]light.Event
	weeks      map[sensorWeek][]claim
	seen       map[string]bool // keys and checksums of the records taken
	records    int
	unreadable int
	boot       uint32 // largest seen
}

// claim is a reading that a record holds.
type claim struct {
	stored
	record int
}

// The parts of a bbolt page that are read here, in bytes.
const (
	pageHeaderSize = 16 // id 8, flags 2, count 2, overflow 4
	leafElement    = 16 // flags 4, position 4, key size 4, value size 4
	leafPage       = 0x02
	metaPage       = 0x04
	bucketElement  = 0x01
	bucketHeader   = 16
	boltMagic      = 0xED0CDAED
	largestPage    = 1 << 28 // with its overflow
)

// sift looks at every page of the file.
func sift(ctx context.Context, path string) (*wreck, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close() //nolint:errcheck // only read
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	w := &wreck{
		names: map[uint32]string{}, events: map[uint64]light.Event{},
		weeks: map[sensorWeek][]claim{}, seen: map[string]bool{},
	}
	size := pageSizeOf(f)
	head := make([]byte, pageHeaderSize)
	for at := int64(0); at+pageHeaderSize <= info.Size(); at += size {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if _, err := f.ReadAt(head, at); err != nil {
			continue // a bad sector; the next page may be readable
		}
		if binary.NativeEndian.Uint64(head) != uint64(at/size) || binary.NativeEndian.Uint16(head[8:]) != leafPage {
			continue
		}
		length := (int64(binary.NativeEndian.Uint32(head[12:])) + 1) * size
		length = min(length, info.Size()-at, largestPage)
		page := make([]byte, length)
		n, err := f.ReadAt(page, at)
		if err != nil && !errors.Is(err, io.EOF) && n == 0 {
			continue
		}
		w.leaf(page[:n])
	}
	return w, nil
}

// pageSizeOf is the page size that the file's first pages name; the system's
// own where they are lost.
func pageSizeOf(f *os.File) int64 {
	head := make([]byte, pageHeaderSize+12) // magic 4, version 4, page size 4
	for size := int64(1 << 10); size <= 1<<16; size <<= 1 {
		for _, at := range []int64{0, size} {
			if _, err := f.ReadAt(head, at); err != nil || binary.NativeEndian.Uint16(head[8:]) != metaPage ||
				binary.NativeEndian.Uint32(head[16:]) != boltMagic {
				continue
			}
			if n := int64(binary.NativeEndian.Uint32(head[24:])); n >= 1<<9 && n <= 1<<16 && n&(n-1) == 0 {
				return n
			}
		}
	}
	return int64(os.Getpagesize())
}

// leaf takes the records of a leaf page, and of small buckets inside it.
func (w *wreck) leaf(page []byte) {
	if len(page) < pageHeaderSize {
		return
	}
	count := int(binary.NativeEndian.Uint16(page[10:]))
	for i := range count {
		at := pageHeaderSize + i*leafElement
		if at+leafElement > len(page) {
			return
		}
		element := page[at:]
		flags, position := binary.NativeEndian.Uint32(element), uint64(binary.NativeEndian.Uint32(element[4:]))
		keySize, valueSize := uint64(binary.NativeEndian.Uint32(element[8:])), uint64(binary.NativeEndian.Uint32(element[12:]))
		if position+keySize+valueSize > uint64(len(element)) {
			w.unreadable++
			continue
		}
		key := element[position:][:keySize]
		value := element[position+keySize:][:valueSize]
		switch {
		case flags&bucketElement == 0:
			w.take(key, value)
		case len(value) > bucketHeader && binary.NativeEndian.Uint64(value) == 0: // no page of its own
			w.leaf(value[bucketHeader:])
		}
	}
}

// take takes one record.
func (w *wreck) take(key, value []byte) {
	if len(value) < 2+sealSize || bytes.Equal(key, keyFormat) || bytes.Equal(key, keyBoot) {
		return
	}
	name := string(key) + string(value[len(value)-sealSize:])
	if w.seen[name] {
		return
	}
	w.records++
	var err error
	switch value[0] {
	case kindSensor:
		var x *sensor
		if x, err = readSensor(key, value); err == nil {
			w.names[x.id] = x.name
		}
	case kindEvent:
		var e light.Event
		if e, err = readEvent(key, value); err == nil {
			w.events[e.ID] = e
		}
	case kindGroup:
		err = w.group(key, value)
	case kindBlock:
		err = w.block(key, value)
	default:
		err = ErrDamaged
	}
	if err != nil {
		w.unreadable++
		return
	}
	w.seen[name] = true
}

func (w *wreck) group(key, value []byte) error {
	g, err := readGroup(key, value)
	if err != nil {
		return err
	}
	for g.next() {
		w.claim(g.stored)
	}
	return g.err
}

func (w *wreck) block(key, value []byte) error {
	id, _, _, ok := splitBlockKey(key)
	if !ok {
		return ErrDamaged
	}
	var c columns
	if err := readBlock(key, value, &c); err != nil {
		return err
	}
	for i := range c.at {
		w.claim(c.reading(id, i))
	}
	return nil
}

func (w *wreck) claim(r stored) {
	key := sensorWeek{r.sensor, weekOf(r.at)}
	w.weeks[key] = append(w.weeks[key], claim{r, w.records})
	w.boot = max(w.boot, r.boot)
}

// merged makes of a week's claims the readings that there were, ordered by
// time, those in conflict last.
func merged(claims []claim) []stored {
	slices.SortFunc(claims, func(a, b claim) int {
		return cmp.Or(
			cmp.Compare(a.at, b.at), cmp.Compare(a.mark&light.Conflict, b.mark&light.Conflict),
			cmp.Compare(a.arrived, b.arrived), cmp.Compare(a.uptime, b.uptime), cmp.Compare(a.boot, b.boot),
			cmp.Compare(a.value, b.value), cmp.Compare(a.mark, b.mark), cmp.Compare(a.record, b.record))
	})
	var readings []stored
	for i := 0; i < len(claims); {
		r := claims[i].stored
		most := 0
		for i < len(claims) && claims[i].stored == r {
			record, n := claims[i].record, 0
			for ; i < len(claims) && claims[i].stored == r && claims[i].record == record; i++ {
				n++
			}
			most = max(most, n)
		}
		for range most {
			readings = append(readings, r)
		}
	}
	return readings
}

// write puts what was found into a new database.
func (w *wreck) write(ctx context.Context, out string) (found Salvaged, err error) {
	found.Events, found.Unreadable = len(w.events), w.unreadable
	db, err := openOrMake(out, false, Options{})
	if err != nil {
		return found, err
	}
	defer func() { err = errors.Join(err, db.Close()) }()
	if err := db.adopt(w.events, w.boot); err != nil {
		return found, err
	}
	order := slices.SortedFunc(maps.Keys(w.weeks), func(a, b sensorWeek) int {
		return cmp.Or(cmp.Compare(a.sensor, b.sensor), cmp.Compare(a.week, b.week))
	})
	sensors := map[string]bool{}
	for _, key := range order {
		name, ok := w.names[key.sensor]
		if !ok {
			name = fmt.Sprintf("unnamed sensor %d", key.sensor)
		}
		if !sensors[name] {
			sensors[name] = true
			if !ok {
				found.Unnamed = append(found.Unnamed, name)
			}
		}
		for part := range slices.Chunk(merged(w.weeks[key]), 1<<14) {
			group := make([]light.Reading, len(part))
			for i := range part {
				group[i] = part[i].reading(name)
			}
			if _, err := db.Append(ctx, group); err != nil {
				return found, err
			}
			found.Readings += len(group)
		}
	}
	found.Sensors = len(sensors)
	return found, db.Pack(ctx, time.Unix(1<<40, 0))
}

// adopt writes log entries under the ids they have, and raises the boot number.
func (db *DB) adopt(events map[uint64]light.Event, boot uint32) error {
	db.write.Lock()
	defer db.write.Unlock()
	err := db.update(func(tx *bolt.Tx) error {
		log := tx.Bucket(bucketLog)
		for _, id := range slices.Sorted(maps.Keys(events)) {
			e := events[id]
			key := sequenceKey(id)
			record, err := writeEvent(key, &e)
			if err != nil {
				return err
			}
			if err := log.Put(key, record); err != nil {
				return err
			}
			if err := log.SetSequence(max(log.Sequence(), id)); err != nil {
				return err
			}
		}
		db.boot = max(db.boot, boot)
		return tx.Bucket(bucketMeta).Put(keyBoot, binary.BigEndian.AppendUint32(nil, db.boot))
	})
	return errors.Join(err, db.reload())
}
