package store

import (
	"encoding/binary"
	"math/bits"
	"slices"
)

// timeCode says how a block writes its times: the code in the lower half, the
// unit in the upper. All codes write the steps from one reading to the next.
type timeCode uint8

const (
	timeRuns   timeCode = iota // runs: step, count
	timeChange                 // change of the step, zig-zag
	timeStep                   // difference to one step given first, zig-zag
)

// timeUnits are the units of steps, in nanoseconds; the largest in which all
// steps are whole is taken.
var timeUnits = [...]int64{1_000_000_000, 1_000_000, 1_000, 1}

// times encodes ordered times, the first of which stands in the header.
func (e *encoder) times(b []byte, at []int64) ([]byte, timeCode) {
	steps := e.numbers(len(at) - 1)
	unit, runs := 0, 0
	before := int64(-1) // no step: times are ordered
	for i := range steps {
		step := at[i+1] - at[i]
		steps[i] = step
		if step == before {
			continue
		}
		for step%timeUnits[unit] != 0 {
			unit++
		}
		before = step
		runs++
	}
	code, ns := timeCode(unit<<4), timeUnits[unit]
	if runs*4 <= len(steps)+4 {
		for i := 0; i < len(steps); {
			step, start := steps[i], i
			for i++; i < len(steps) && steps[i] == step; i++ {
			}
			b = binary.AppendUvarint(b, uint64(step/ns))
			b = binary.AppendUvarint(b, uint64(i-start))
		}
		return b, code + timeRuns
	}
	for i := range steps {
		steps[i] /= ns
	}
	// Of the two other codes the one with the shorter numbers.
	usual := median(steps)
	var change, differ int
	before = 0
	for _, s := range steps {
		change += bits.Len64(zigzag(s - before))
		differ += bits.Len64(zigzag(s - usual))
		before = s
	}
	if change < differ {
		before = 0
		for _, s := range steps {
			b = binary.AppendUvarint(b, zigzag(s-before))
			before = s
		}
		return b, code + timeChange
	}
	b = binary.AppendUvarint(b, uint64(usual))
	for _, s := range steps {
		b = binary.AppendUvarint(b, zigzag(s-usual))
	}
	return b, code + timeStep
}

func median(steps []int64) int64 {
	sorted := slices.Clone(steps)
	slices.Sort(sorted)
	return sorted[len(sorted)/2]
}

// times decodes a block's times into dst, whose length is the block's count.
func (d *decoder) times(h *blockHeader, dst []int64) error {
	raw, err := d.column(h, columnTimes)
	if err != nil {
		return err
	}
	unit := int(h.time >> 4)
	if unit >= len(timeUnits) {
		return errBlock
	}
	ns := timeUnits[unit]
	at := h.first
	dst[0] = at
	rest := dst[1:]
	r := numbers{rest: raw}
	switch h.time & 0x0f {
	case timeRuns:
		for len(rest) > 0 {
			step := int64(r.uvarint()) * ns
			count := r.uvarint()
			if r.bad || count == 0 || count > uint64(len(rest)) {
				return errBlock
			}
			run := rest[:count]
			for i := range run {
				at += step
				run[i] = at
			}
			rest = rest[count:]
		}
	case timeChange:
		r.varints(rest)
		step := int64(0)
		for i, change := range rest {
			step += change
			at += step * ns
			rest[i] = at
		}
	case timeStep:
		usual := int64(r.uvarint())
		r.varints(rest)
		for i, more := range rest {
			at += (usual + more) * ns
			rest[i] = at
		}
	default:
		return errBlock
	}
	if r.bad || len(r.rest) != 0 || at != h.last {
		return errBlock
	}
	return nil
}
