package store

import (
	"cmp"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	bolt "go.etcd.io/bbolt"

	"parstead/light"
)

// eventRecord is an entry of the log as it lies on the disk, in JSON: it must
// be readable for longer than this program lives.
type eventRecord struct {
	At        time.Time  `json:"at"`
	Written   time.Time  `json:"written"`
	Kind      light.Kind `json:"kind"`
	Bin       string     `json:"bin,omitempty"`
	Plant     string     `json:"plant,omitempty"`
	Sensor    string     `json:"sensor,omitempty"`
	From      time.Time  `json:"from,omitzero"`
	Until     time.Time  `json:"until,omitzero"`
	Text      string     `json:"text,omitempty"`
	Data      []byte     `json:"data,omitempty"`
	Withdraws uint64     `json:"withdraws,omitempty"`
}

func writeEvent(key []byte, e *light.Event) ([]byte, error) {
	text, err := json.Marshal(eventRecord{
		At: e.At.UTC(), Written: e.Written.UTC(), Kind: e.Kind,
		Bin: e.Bin, Plant: e.Plant, Sensor: e.Sensor,
		From: e.During.From.UTC(), Until: e.During.Until.UTC(),
		Text: e.Text, Data: e.Data, Withdraws: e.Withdraws,
	})
	if err != nil {
		return nil, err
	}
	return seal(key, append([]byte{kindEvent, recordVersion}, text...)), nil
}

func readEvent(key, record []byte) (light.Event, error) {
	body, err := unseal(kindEvent, key, record)
	if err != nil {
		return light.Event{}, fmt.Errorf("log entry: %w", err)
	}
	var r eventRecord
	if err := json.Unmarshal(body, &r); err != nil {
		return light.Event{}, fmt.Errorf("log entry %x: %w: %w", key, ErrDamaged, err)
	}
	return light.Event{
		ID: binary.BigEndian.Uint64(key), At: r.At, Written: r.Written, Kind: r.Kind,
		Bin: r.Bin, Plant: r.Plant, Sensor: r.Sensor,
		During: light.Span{From: r.From, Until: r.Until},
		Text:   r.Text, Data: r.Data, Withdraws: r.Withdraws,
	}, nil
}

func readLog(log *bolt.Bucket) ([]light.Event, error) {
	var events []light.Event
	c := log.Cursor()
	for k, v := c.First(); k != nil; k, v = c.Next() {
		e, err := readEvent(k, v)
		if err != nil {
			return nil, err
		}
		events = append(events, e)
	}
	return events, nil
}

// logCache holds entries of the log that were read before: they never change.
type logCache struct {
	mu     sync.Mutex
	events []light.Event
}

// read is the log as a reading transaction sees it. The slice is shared.
func (c *logCache) read(log *bolt.Bucket) ([]light.Event, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	known := uint64(0)
	if n := len(c.events); n > 0 {
		known = c.events[n-1].ID
	}
	cursor := log.Cursor()
	for k, v := cursor.Seek(sequenceKey(known + 1)); k != nil; k, v = cursor.Next() {
		e, err := readEvent(k, v)
		if err != nil {
			return nil, err
		}
		c.events = append(c.events, e)
	}
	// A transaction that began earlier sees fewer than another has read.
	last, _ := cursor.Last()
	if last == nil {
		return nil, nil
	}
	n, _ := slices.BinarySearchFunc(c.events, binary.BigEndian.Uint64(last)+1, func(e light.Event, id uint64) int { return cmp.Compare(e.ID, id) })
	return c.events[:n:n], nil
}

// withdrawable tells why an entry of the log can't be withdrawn; nil if it can.
func withdrawable(log *bolt.Bucket, id uint64) error {
	key := sequenceKey(id)
	record := log.Get(key)
	if record == nil {
		return fmt.Errorf("there is no log entry %d to withdraw: list the log with `parstead note FOLDER`", id)
	}
	e, err := readEvent(key, record)
	if err == nil && e.Kind == light.Entered {
		err = fmt.Errorf("log entry %d was entered at the page and can't be withdrawn: its sheet would keep the value; correct the value in the sheet, or enter it anew at the page", id)
	}
	return err
}

// AddEvent writes an entry into the trial's log and returns its id, which is
// one more than that of the entry before. ID is ignored; Written, where zero,
// is now, and At, where zero, is Written. An entry that withdraws another must
// name one that is there, and not one whose value stands in a sheet.
func (db *DB) AddEvent(ctx context.Context, e light.Event) (uint64, error) {
	db.write.Lock()
	defer db.write.Unlock()
	if err := ctx.Err(); err != nil {
		return 0, fmt.Errorf("not written: %w", err)
	}
	if e.Kind == "" {
		return 0, errors.New("a log entry needs a kind")
	}
	if e.Written.IsZero() {
		e.Written = db.now()
	}
	if e.At.IsZero() {
		e.At = e.Written
	}
	db.mu.RLock()
	steps := db.state.steps
	db.mu.RUnlock()
	err := db.update(func(tx *bolt.Tx) error {
		bucket := tx.Bucket(bucketLog)
		if e.Withdraws != 0 {
			if err := withdrawable(bucket, e.Withdraws); err != nil {
				return err
			}
		}
		id, err := bucket.NextSequence()
		if err != nil {
			return err
		}
		e.ID = id
		key := sequenceKey(id)
		record, err := writeEvent(key, &e)
		if err != nil {
			return err
		}
		if err := bucket.Put(key, record); err != nil {
			return err
		}
		if e.Kind != light.ClockStepped && e.Withdraws == 0 {
			return nil
		}
		// An entry of which the steps of the clock can't be read is not taken.
		log, err := readLog(bucket)
		if err != nil {
			return err
		}
		steps, err = stepsOf(log)
		return err
	})
	if err != nil {
		return 0, db.undo(fmt.Errorf("write the log: %w", err))
	}
	db.mu.Lock()
	db.state.steps = steps
	db.state.lastEvent = e.ID
	db.mu.Unlock()
	return e.ID, nil
}
