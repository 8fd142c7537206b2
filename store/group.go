package store

import (
	"encoding/binary"
	"fmt"
	"math"

	"parstead/light"
)

// A reading in a group begins with its sensor's number and a byte of flags:
// the four marks, how its time is written, and what is left out.
const (
	flagMarks   = 0x0f
	flagTime    = 0x30 // one of the time codes
	flagArrival = 0x40 // arrival, boot or uptime differ from the reading before
	flagShort   = 0x80 // the value is written as a float32 without loss

	timeIsArrival = 0x00
	timeSeconds   = 0x10
	timeMillis    = 0x20
	timeNanos     = 0x30

	maxReadingSize = 5 + 1 + 3*binary.MaxVarintLen64 + 5 + 8
)

// stored is a reading as the store keeps it: the sensor by number, times as
// integers.
type stored struct {
	sensor  uint32
	at      int64 // Unix nanoseconds
	value   float64
	mark    light.Mark
	arrived int64 // Unix seconds
	boot    uint32
	uptime  int64 // seconds
}

// groupWriter writes the record of one group: a header with the arrival of its
// first reading, then the readings, each with what differs from the one before.
type groupWriter struct {
	buf     []byte
	base    int64 // Unix seconds: times are written as differences from here
	arrived int64
	uptime  int64
	boot    uint32
}

func (w *groupWriter) begin(n int, first *stored) {
	if need := n*maxReadingSize + 64; cap(w.buf) < need {
		w.buf = make([]byte, 0, need)
	}
	b := append(w.buf[:0], kindGroup, recordVersion)
	b = binary.AppendUvarint(b, uint64(n))
	b = binary.AppendVarint(b, first.arrived)
	b = binary.AppendUvarint(b, uint64(first.boot))
	w.buf = binary.AppendVarint(b, first.uptime)
	w.base, w.arrived, w.uptime, w.boot = first.arrived, first.arrived, first.uptime, first.boot
}

func (w *groupWriter) add(r *stored) {
	b := binary.AppendUvarint(w.buf, uint64(r.sensor))
	flagAt := len(b)
	b = append(b, 0)
	flags := byte(r.mark) & flagMarks
	if r.arrived != w.arrived || r.uptime != w.uptime || r.boot != w.boot {
		flags |= flagArrival
		b = binary.AppendVarint(b, r.arrived-w.arrived)
		b = binary.AppendVarint(b, r.uptime-w.uptime)
		b = binary.AppendVarint(b, int64(r.boot)-int64(w.boot))
		w.arrived, w.uptime, w.boot = r.arrived, r.uptime, r.boot
	}
	seconds := r.at / 1e9
	switch rest := r.at - seconds*1e9; {
	case rest == 0 && seconds == r.arrived:
		flags |= timeIsArrival
	case rest == 0:
		flags |= timeSeconds
		b = binary.AppendVarint(b, seconds-w.base)
	case rest%1e6 == 0:
		flags |= timeMillis
		b = binary.AppendVarint(b, r.at/1e6-w.base*1e3)
	default:
		flags |= timeNanos
		b = binary.AppendVarint(b, r.at-w.base*1e9) // may wrap round; so does reading it
	}
	if short := float32(r.value); math.Float64bits(float64(short)) == math.Float64bits(r.value) {
		flags |= flagShort
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(short))
	} else {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(r.value))
	}
	b[flagAt] = flags
	w.buf = b
}

// groupReader reads a group's readings one by one:
//
//	for g.next() { use(g.stored) }
//	return g.err
type groupReader struct {
	stored
	numbers
	left int
	base int64
	err  error
}

// readGroup checks a group's record and reads its header.
func readGroup(key, record []byte) (groupReader, error) {
	var g groupReader
	body, err := unseal(kindGroup, key, record)
	if err != nil {
		return g, fmt.Errorf("group: %w", err)
	}
	g.rest = body
	n := g.uvarint()
	g.arrived = g.varint()
	g.boot = uint32(g.uvarint())
	g.uptime = g.varint()
	g.base = g.arrived
	if g.bad || n > uint64(len(body)) {
		return g, errGroup
	}
	g.left = int(n)
	return g, nil
}

var errGroup = fmt.Errorf("group breaks its own form: %w", ErrDamaged)

// next reads the next reading; false at the end and on an error.
func (g *groupReader) next() bool {
	if g.left == 0 {
		if len(g.rest) != 0 {
			g.err = errGroup
		}
		return false
	}
	g.left--
	g.sensor = uint32(g.uvarint())
	if len(g.rest) == 0 {
		g.err, g.left = errGroup, 0
		return false
	}
	flags := g.rest[0]
	g.rest = g.rest[1:]
	g.mark = light.Mark(flags & flagMarks)
	if flags&flagArrival != 0 {
		g.arrived += g.varint()
		g.uptime += g.varint()
		g.boot = uint32(int64(g.boot) + g.varint())
	}
	switch flags & flagTime {
	case timeIsArrival:
		g.at = g.arrived * 1e9
	case timeSeconds:
		g.at = (g.base + g.varint()) * 1e9
	case timeMillis:
		g.at = (g.base*1e3 + g.varint()) * 1e6
	case timeNanos:
		g.at = g.base*1e9 + g.varint()
	}
	size := 8
	if flags&flagShort != 0 {
		size = 4
	}
	if len(g.rest) < size {
		g.err, g.left, g.rest = errGroup, 0, nil
		return false
	}
	if size == 4 {
		g.value = float64(math.Float32frombits(binary.LittleEndian.Uint32(g.rest)))
	} else {
		g.value = math.Float64frombits(binary.LittleEndian.Uint64(g.rest))
	}
	g.rest = g.rest[size:]
	return true
}
