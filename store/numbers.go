package store

import "encoding/binary"

// numbers reads variable-length numbers; once something is amiss it is bad and
// reads zeros.
type numbers struct {
	rest []byte
	bad  bool
}

func (r *numbers) uvarint() uint64 {
	if len(r.rest) > 0 && r.rest[0] < 0x80 {
		v := uint64(r.rest[0])
		r.rest = r.rest[1:]
		return v
	}
	v, n := binary.Uvarint(r.rest)
	if n <= 0 {
		r.bad, r.rest = true, nil
		return 0
	}
	r.rest = r.rest[n:]
	return v
}

func (r *numbers) varint() int64 { return unzigzag(r.uvarint()) }

// varints reads as many numbers as dst holds. Most are of one byte: eight such
// are read at once.
func (r *numbers) varints(dst []int64) {
	raw := r.rest
	for len(dst) > 0 {
		if len(raw) >= 8 && len(dst) >= 8 {
			if w := binary.LittleEndian.Uint64(raw); w&0x8080808080808080 == 0 {
				d := dst[:8]
				for i := range d {
					d[i] = unzigzag(w & 0x7f)
					w >>= 8
				}
				raw, dst = raw[8:], dst[8:]
				continue
			}
		}
		u, n := binary.Uvarint(raw)
		if n <= 0 {
			r.bad, r.rest = true, nil
			return
		}
		dst[0] = unzigzag(u)
		raw, dst = raw[n:], dst[1:]
	}
	r.rest = raw
}

// bytes takes the next n bytes.
func (r *numbers) bytes(n int) []byte {
	if n < 0 || n > len(r.rest) {
		r.bad, r.rest = true, nil
		return nil
	}
	b := r.rest[:n]
	r.rest = r.rest[n:]
	return b
}

// uint64 takes eight bytes, little-endian.
func (r *numbers) uint64() uint64 {
	if b := r.bytes(8); b != nil {
		return binary.LittleEndian.Uint64(b)
	}
	return 0
}

// zigzag folds a signed number so that small ones stay small.
func zigzag(v int64) uint64 { return uint64(v)<<1 ^ uint64(v>>63) }

func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }

// appendRuns writes numbers as runs of equal ones: the difference to the run
// before, and the count.
func appendRuns(b []byte, n []int64) []byte {
	var before int64
	for i := 0; i < len(n); {
		v, start := n[i], i
		for i++; i < len(n) && n[i] == v; i++ {
		}
		b = binary.AppendVarint(b, v-before)
		b = binary.AppendUvarint(b, uint64(i-start))
		before = v
	}
	return b
}

// runs reads what appendRuns wrote.
func (r *numbers) runs(n int, set func(int, int64)) {
	var v int64
	for i := 0; i < n; {
		v += r.varint()
		count := r.uvarint()
		if r.bad || count == 0 || count > uint64(n-i) {
			r.bad = true
			return
		}
		for range count {
			set(i, v)
			i++
		}
	}
}
