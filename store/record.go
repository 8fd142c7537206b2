package store

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
)

// The kinds of record; a record's first byte. The second is its version.
const (
	kindGroup  = 'G'
	kindBlock  = 'B'
	kindSensor = 'S'
	kindEvent  = 'E'
)

const (
	recordVersion = 1
	sealSize      = 4 // CRC-32C at a record's end
)

// ErrDamaged marks whatever cannot be what was once written.
var ErrDamaged = errors.New("damaged")

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// seal ends a record with a checksum over its key and its bytes, so that a
// record found under another key, or on a stray page, is known for what it is.
func seal(key, record []byte) []byte {
	sum := crc32.Update(crc32.Update(0, castagnoli, key), castagnoli, record)
	return binary.LittleEndian.AppendUint32(record, sum)
}

// unseal checks a record and returns what stands between its first two bytes
// and its checksum.
func unseal(kind byte, key, record []byte) ([]byte, error) {
	if len(record) < 2+sealSize {
		return nil, fmt.Errorf("record of %d bytes is too short: %w", len(record), ErrDamaged)
	}
	body := record[:len(record)-sealSize]
	sum := crc32.Update(crc32.Update(0, castagnoli, key), castagnoli, body)
	if sum != binary.LittleEndian.Uint32(record[len(body):]) {
		return nil, fmt.Errorf("checksum of record %x: %w", key, ErrDamaged)
	}
	if body[0] != kind {
		return nil, fmt.Errorf("record %x is of kind %q, not %q: %w", key, body[0], kind, ErrDamaged)
	}
	if body[1] != recordVersion {
		return nil, fmt.Errorf("record %x has version %d, this program reads %d: use the program that wrote it", key, body[1], recordVersion)
	}
	return body[2:], nil
}

// sequenceKey is the key of a group, an event or a sensor: big-endian, so that
// the order of keys is that of numbers.
func sequenceKey(n uint64) []byte { return binary.BigEndian.AppendUint64(nil, n) }

// numberOf is the inverse of sequenceKey; 0 for what is no such key.
func numberOf(key []byte) uint64 {
	if len(key) != 8 {
		return 0
	}
	return binary.BigEndian.Uint64(key)
}

// weekSeconds is the span of a block: seven days, counted from 1970.
const weekSeconds = 7 * 24 * 60 * 60

// weekOf is the week in which a time (Unix nanoseconds) falls.
func weekOf(at int64) int32 {
	const ns = weekSeconds * 1_000_000_000
	w := at / ns
	if at%ns < 0 {
		w--
	}
	return int32(w)
}

const blockKeySize = 10

// blockKey is the key of a block: sensor, week, piece.
func blockKey(sensor uint32, week int32, piece uint16) []byte {
	k := make([]byte, 0, blockKeySize)
	k = binary.BigEndian.AppendUint32(k, sensor)
	k = binary.BigEndian.AppendUint32(k, uint32(week)^1<<31)
	return binary.BigEndian.AppendUint16(k, piece)
}

// splitBlockKey is the inverse of blockKey.
func splitBlockKey(k []byte) (sensor uint32, week int32, piece uint16, ok bool) {
	if len(k) != blockKeySize {
		return 0, 0, 0, false
	}
	return binary.BigEndian.Uint32(k), int32(binary.BigEndian.Uint32(k[4:]) ^ 1<<31), binary.BigEndian.Uint16(k[8:]), true
}
