package store

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// state is what the store keeps in memory: little, and rebuilt from the
// database when it is opened and after a commit that failed.
type state struct {
	sensors map[string]*sensor
	byID    []*sensor // numbers are given from 1 on, and none is ever taken back
	steps   clockSteps

	lastEvent uint64 // id of the newest entry of the log
}

// sensor finds a sensor by number; nil for none.
func (s *state) sensor(id uint32) *sensor {
	if id == 0 || uint64(id) > uint64(len(s.byID)) {
		return nil
	}
	return s.byID[id-1]
}

// add takes in a sensor with the next number.
func (s *state) add(x *sensor) {
	s.sensors[x.name] = x
	s.byID = append(s.byID, x)
}

// sensor is what is known of one sensor's readings.
type sensor struct {
	id     uint32
	name   string
	packed uint64
	loose  uint64

	latest    stored
	hasLatest bool

	// newestOwn is the newest own time of all its readings, those of the group
	// being written included: a later one cannot be a duplicate.
	newestOwn int64

	// Of the group being written, not yet committed.
	added    uint64
	newer    stored
	hasNewer bool
}

// stepData is what an event of kind light.ClockStepped holds in Data.
type stepData struct {
	Boot   uint32  `json:"boot"`
	Uptime float64 `json:"uptime_s"`
	By     int64   `json:"by_ns"`
}

// ClockStep is the Data of a light.ClockStepped event: readings without own
// time that were taken in under this boot number before this uptime carry a
// time that is to be shifted by `by`.
func ClockStep(boot uint32, uptime, by time.Duration) []byte {
	data, err := json.Marshal(stepData{boot, uptime.Seconds(), int64(by)})
	if err != nil {
		panic("store: " + err.Error()) // three finite numbers
	}
	return data
}

// clockSteps are the steps of the system clock, by boot number.
type clockSteps map[uint32][]stepData

// stepsOf reads the steps out of the log.
func stepsOf(log []light.Event) (clockSteps, error) {
	steps := clockSteps{}
	var few []light.Event // of a long log
	for _, e := range log {
		if e.Kind == light.ClockStepped || e.Withdraws != 0 {
			few = append(few, e)
		}
	}
	for _, e := range light.Standing(few) {
		if e.Kind != light.ClockStepped {
			continue
		}
		var d stepData
		if err := json.Unmarshal(e.Data, &d); err != nil {
			return nil, fmt.Errorf("log entry %d, %s: %w: %w", e.ID, e.Kind, ErrDamaged, err)
		}
		steps[d.Boot] = append(steps[d.Boot], d)
	}
	return steps, nil
}

// rebase is the time of a reading with the steps of the clock since its
// arrival made good.
func (c clockSteps) rebase(r *stored) int64 {
	if len(c) == 0 || r.mark&light.OwnTime != 0 {
		return r.at
	}
	return r.at + c.shift(r.boot, r.uptime)
}

func (c clockSteps) shift(boot uint32, uptime int64) (by int64) {
	for _, d := range c[boot] {
		if float64(uptime) < d.Uptime {
			by += d.By
		}
	}
	return by
}

// reach is how far rebasing may move any reading, either way.
func (c clockSteps) reach() (most int64) {
	for _, steps := range c {
		var sum int64
		for _, d := range steps {
			sum += max(d.By, -d.By)
		}
		most = max(most, sum)
	}
	return most
}

// reading is r in the vocabulary of package light.
func (r *stored) reading(name string) light.Reading {
	return light.Reading{
		Sensor: name, At: time.Unix(0, r.at).UTC(), Value: r.value, Mark: r.mark,
		Arrived: time.Unix(r.arrived, 0).UTC(), Boot: r.boot, Uptime: time.Duration(r.uptime) * time.Second,
	}
}

// record writes what is known of the sensor's packed readings.
func (x *sensor) record(key []byte, packed uint64, newestOwn int64, latest *stored) []byte {
	b := []byte{kindSensor, recordVersion}
	b = binary.AppendUvarint(b, uint64(len(x.name)))
	b = append(b, x.name...)
	b = binary.AppendUvarint(b, packed)
	b = binary.AppendVarint(b, newestOwn)
	if latest != nil {
		b = append(b, byte(latest.mark))
		b = binary.AppendVarint(b, latest.at)
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(latest.value))
		b = binary.AppendVarint(b, latest.arrived)
		b = binary.AppendUvarint(b, uint64(latest.boot))
		b = binary.AppendVarint(b, latest.uptime)
	}
	return seal(key, b)
}

// readSensor is the inverse of record.
func readSensor(key, record []byte) (*sensor, error) {
	body, err := unseal(kindSensor, key, record)
	if err != nil {
		return nil, fmt.Errorf("sensor: %w", err)
	}
	if len(key) != 8 {
		return nil, fmt.Errorf("sensor key %x: %w", key, ErrDamaged)
	}
	r := numbers{rest: body}
	x := &sensor{id: uint32(binary.BigEndian.Uint64(key))}
	x.name = string(r.bytes(int(min(r.uvarint(), math.MaxInt32))))
	x.packed = r.uvarint()
	x.newestOwn = r.varint()
	if len(r.rest) > 0 {
		x.hasLatest = true
		x.latest = stored{
			sensor: x.id, mark: light.Mark(r.bytes(1)[0]), at: r.varint(),
			value:   math.Float64frombits(r.uint64()),
			arrived: r.varint(), boot: uint32(r.uvarint()), uptime: r.varint(),
		}
	}
	if r.bad || len(r.rest) != 0 {
		return nil, fmt.Errorf("sensor record %x breaks its own form: %w", key, ErrDamaged)
	}
	return x, nil
}

// reload reads the state out of the database: a record a sensor, the log, and
// the groups that are not yet packed. The caller holds db.write.
func (db *DB) reload() error {
	fresh := state{sensors: map[string]*sensor{}}
	err := db.view(func(tx *bolt.Tx) error {
		log, err := readLog(tx.Bucket(bucketLog))
		if err != nil {
			return err
		}
		if fresh.steps, err = stepsOf(log); err != nil {
			return err
		}
		if n := len(log); n > 0 {
			fresh.lastEvent = log[n-1].ID
		}
		sensors := tx.Bucket(bucketSensors).Cursor()
		for k, v := sensors.First(); k != nil; k, v = sensors.Next() {
			x, err := readSensor(k, v)
			if err != nil {
				return err
			}
			fresh.add(x)
			if fresh.sensor(x.id) != x {
				return fmt.Errorf("sensor %d has the place of %d: %w", x.id, len(fresh.byID), ErrDamaged)
			}
		}
		groups := tx.Bucket(bucketGroups).Cursor()
		for k, v := groups.First(); k != nil; k, v = groups.Next() {
			g, err := readGroup(k, v)
			if err != nil {
				return err
			}
			for g.next() {
				x := fresh.sensor(g.sensor)
				if x == nil {
					return fmt.Errorf("group %x names no known sensor: %w", k, ErrDamaged)
				}
				x.loose++
				x.note(&g.stored, fresh.steps)
				x.publish()
			}
			if g.err != nil {
				return g.err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	db.weeks = weekCache{}
	db.mu.Lock()
	db.state = fresh
	db.mu.Unlock()
	return nil
}

// note takes a reading of the group being written into account.
func (x *sensor) note(r *stored, steps clockSteps) {
	if r.mark&light.OwnTime != 0 && r.at > x.newestOwn {
		x.newestOwn = r.at
	}
	if !r.mark.Usable() {
		return
	}
	at := steps.rebase(r)
	switch {
	case x.hasNewer:
		if at < steps.rebase(&x.newer) {
			return
		}
	case x.hasLatest && at < steps.rebase(&x.latest):
		return
	}
	x.newer, x.hasNewer = *r, true
}

// publish makes the newer reading the latest.
func (x *sensor) publish() {
	if x.hasNewer {
		x.latest, x.hasLatest, x.hasNewer = x.newer, true, false
	}
}
