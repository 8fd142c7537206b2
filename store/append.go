package store

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// Append keeps a group of readings in one transaction and says what became of
// each, in the group's order. When it returns without an error the group is on
// the disk; with one, none of it is to be taken as kept.
//
// A reading with its own time (light.OwnTime) of which sensor, time and value
// are kept already, or stand earlier in the group, is a Duplicate and not kept
// again; another value for the same sensor and own time is kept and marked
// light.Conflict. Readings without own time are always kept; their time is that
// of arrival, in whole seconds. Arrived, Boot and Uptime are filled in where
// Arrived is zero.
func (db *DB) Append(ctx context.Context, group []light.Reading) ([]light.Fate, error) {
	if len(group) == 0 {
		return nil, nil
	}
	for i := range group {
		if err := checkReading(&group[i]); err != nil {
			return nil, fmt.Errorf("reading %d of %d, sensor %q: %w", i+1, len(group), group[i].Sensor, err)
		}
	}
	db.write.Lock()
	defer db.write.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("not written: %w", err)
	}
	if db.failed != nil {
		return nil, db.failed
	}
	fates := make([]light.Fate, len(group))
	err := db.appendGroup(group, fates)
	if err != nil {
		return nil, db.undo(fmt.Errorf("keep %d readings: %w", len(group), err))
	}
	return fates, nil
}

// undo brings the memory back to what the database holds after a write that
// failed with err.
func (db *DB) undo(err error) error {
	if d := db.displaced.Load(); d != nil && !d.Held { // for good: the memory serves no more
		return err
	}
	if e := db.reload(); e != nil {
		db.failed = ErrFailed
		db.log.Error("database can't be read after a failed write", "file", db.path, "error", e)
	}
	return err
}

// The times that a Unix nanosecond count can hold, in seconds.
const (
	earliestSecond = math.MinInt64/1_000_000_000 + 1
	latestSecond   = math.MaxInt64/1_000_000_000 - 1
)

func checkReading(r *light.Reading) error {
	switch s := r.At.Unix(); {
	case r.Sensor == "":
		return errors.New("it names no sensor")
	case math.IsNaN(r.Value) || math.IsInf(r.Value, 0):
		return fmt.Errorf("its value %v is no finite number", r.Value)
	case s < earliestSecond || s > latestSecond:
		return fmt.Errorf("its time %v is out of any clock's range", r.At)
	case r.Mark&^flagMarks != 0:
		return fmt.Errorf("its mark %#x is unknown", r.Mark)
	}
	return nil
}

// appendGroup writes the group under db.write. It changes the memory as it
// goes; on an error the caller reloads it.
func (db *DB) appendGroup(group []light.Reading, fates []light.Fate) error {
	fresh := db.findOwners(group)
	suspects, kept, err := db.judge(group, fates)
	if err != nil {
		return err
	}
	if kept == 0 {
		return nil
	}
	db.encode(group, fates, kept)
	if err := db.putGroup(fresh); err != nil {
		return err
	}
	db.publish(group, fates, suspects)
	return nil
}

// encode writes the readings that are kept into db.group and counts them with
// their sensors.
func (db *DB) encode(group []light.Reading, fates []light.Fate, kept int) {
	arrived := db.now()
	uptime := int64(arrived.Sub(db.opened) / time.Second)
	w := &db.group
	first := true
	for i := range group {
		if fates[i] == light.Duplicate {
			continue
		}
		r, x := &group[i], db.owners[i]
		s := stored{
			sensor: x.id, at: r.At.UnixNano(), value: r.Value, mark: r.Mark,
			arrived: r.Arrived.Unix(), boot: r.Boot, uptime: int64(r.Uptime / time.Second),
		}
		if r.Arrived.IsZero() {
			s.arrived, s.boot, s.uptime = arrived.Unix(), db.boot, uptime
		}
		if s.mark&light.OwnTime == 0 {
			s.at = r.At.Unix() * 1e9
		} else if fates[i] == light.Conflicting {
			s.mark |= light.Conflict
		}
		if first {
			w.begin(kept, &s)
			first = false
		}
		w.add(&s)
		x.added++
		x.note(&s, db.state.steps)
	}
}

// putGroup writes db.group, and the sensors that are new, in one transaction.
func (db *DB) putGroup(fresh []*sensor) error {
	return db.update(func(tx *bolt.Tx) error {
		w := &db.group
		sensors := tx.Bucket(bucketSensors)
		for _, x := range fresh {
			key := sequenceKey(uint64(x.id))
			if err := sensors.Put(key, x.record(key, 0, math.MinInt64, nil)); err != nil {
				return err
			}
		}
		groups := tx.Bucket(bucketGroups)
		groups.FillPercent = 1 // keys only grow
		n, err := groups.NextSequence()
		if err != nil {
			return err
		}
		key := sequenceKey(n)
		w.buf = seal(key, w.buf)
		return groups.Put(key, w.buf)
	})
}

// findOwners notes the sensor of every reading in db.owners and makes the
// sensors that are new.
func (db *DB) findOwners(group []light.Reading) (fresh []*sensor) {
	if cap(db.owners) < len(group) {
		db.owners = make([]*sensor, len(group))
	}
	db.owners = db.owners[:len(group)]
	for i := range group {
		x := db.state.sensors[group[i].Sensor]
		if x == nil {
			x = &sensor{id: uint32(len(db.state.byID)) + 1, name: group[i].Sensor, newestOwn: math.MinInt64}
			db.mu.Lock()
			db.state.add(x)
			db.mu.Unlock()
			fresh = append(fresh, x)
		}
		db.owners[i] = x
	}
	return fresh
}

// publish shows the committed group to those who ask between writes.
func (db *DB) publish(group []light.Reading, fates []light.Fate, suspects bool) {
	db.mu.Lock()
	for _, x := range db.owners {
		if x.added > 0 {
			x.loose += x.added
			x.added = 0
			x.publish()
		}
	}
	db.mu.Unlock()
	if suspects || len(db.weeks.known) > 0 {
		db.weeks.add(group, fates, db.owners)
	}
	if db.onAppend != nil {
		earliest := group[0].At
		for i := range group {
			if group[i].At.Before(earliest) {
				earliest = group[i].At
			}
		}
		db.onAppend(earliest)
	}
}
