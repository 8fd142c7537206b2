package store

import (
	"encoding/binary"
	"math"
	"slices"
)

// valueCode says how a block writes its values.
type valueCode uint8

const (
	// valueDecimal: value × 10^exponent is a whole number; the differences
	// from one to the next are written, zig-zag. Values that are not whole so
	// stand among the exceptions.
	valueDecimal valueCode = iota
	// valueBits: the exclusive or of neighbours' bits, all first bytes, then
	// all second bytes, and so on.
	valueBits
)

// maxExponent is the largest power of ten that the decimal code tries.
const maxExponent = 12

var powersOfTen = [maxExponent + 1]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12}

// decimal is the whole number n with n / power == v, bit for bit.
func decimal(v, power float64) (n int64, ok bool) {
	scaled := math.RoundToEven(v * power)
	if !(scaled >= -1<<53 && scaled <= 1<<53) {
		return 0, false
	}
	n = int64(scaled)
	return n, math.Float64bits(float64(n)/power) == math.Float64bits(v)
}

// values encodes values, by the decimal code where that holds for nearly all.
func (e *encoder) values(b []byte, values []float64) (raw, exceptions []byte, code valueCode, exponent uint8) {
	n, exponent, ok := e.decimals(values)
	if !ok {
		return appendBits(b, values), nil, valueBits, 0
	}
	b = slices.Grow(b, 2*len(values))
	var before int64
	last := 0
	for i, n := range n {
		if n == notDecimal {
			exceptions = binary.AppendUvarint(exceptions, uint64(i-last))
			exceptions = binary.LittleEndian.AppendUint64(exceptions, math.Float64bits(values[i]))
			n, last = before, i
		}
		if u := zigzag(n - before); u < 0x80 {
			b = append(b, byte(u))
		} else {
			b = binary.AppendUvarint(b, u)
		}
		before = n
	}
	return b, exceptions, valueDecimal, exponent
}

// notDecimal stands for a value that is no whole number of the unit.
const notDecimal = math.MinInt64

// decimals makes whole numbers of the values, by the smallest power of ten that
// serves all of them for which any does; ok is false if there are too many
// others.
func (e *encoder) decimals(values []float64) (whole []int64, exponent uint8, ok bool) {
	whole = e.numbers(len(values))
	power := powersOfTen[0]
	exceptions := 0
	for i := 0; i < len(values); i++ {
		n, ok := decimal(values[i], power)
		if ok {
			whole[i] = n
			continue
		}
		larger := exponent + 1
		for larger <= maxExponent && !ok {
			_, ok = decimal(values[i], powersOfTen[larger])
			larger++
		}
		if ok { // begin again: it may take values before this one out of range
			exponent, power = larger-1, powersOfTen[larger-1]
			i, exceptions = -1, 0
			continue
		}
		whole[i] = notDecimal
		if exceptions++; exceptions > len(values)/16+1 {
			return nil, 0, false
		}
	}
	return whole, exponent, true
}

func appendBits(b []byte, values []float64) []byte {
	n := len(values)
	start := len(b)
	b = slices.Grow(b, 8*n)[:start+8*n]
	planes := b[start:]
	before := uint64(0)
	for i, v := range values {
		u := math.Float64bits(v)
		x := u ^ before
		before = u
		for p := range 8 {
			planes[p*n+i] = byte(x >> (8 * p))
		}
	}
	return b
}

// values decodes a block's values into dst, whose length is the block's count.
func (d *decoder) values(h *blockHeader, dst []float64) error {
	raw, err := d.column(h, columnValues)
	if err != nil {
		return err
	}
	switch h.value {
	case valueDecimal:
		if int(h.exponent) >= len(powersOfTen) || !decimals(raw, powersOfTen[h.exponent], dst) {
			return errBlock
		}
	case valueBits:
		n := len(dst)
		if len(raw) != 8*n {
			return errBlock
		}
		var p [8][]byte
		for i := range p {
			p[i] = raw[i*n:][:n]
		}
		u := uint64(0)
		for i := range dst {
			u ^= uint64(p[0][i]) | uint64(p[1][i])<<8 | uint64(p[2][i])<<16 | uint64(p[3][i])<<24 |
				uint64(p[4][i])<<32 | uint64(p[5][i])<<40 | uint64(p[6][i])<<48 | uint64(p[7][i])<<56
			dst[i] = math.Float64frombits(u)
		}
	default:
		return errBlock
	}
	if h.sizes[columnExceptions].raw == 0 {
		return nil
	}
	if raw, err = d.column(h, columnExceptions); err != nil {
		return err
	}
	at := uint64(0)
	for r := (numbers{rest: raw}); len(r.rest) > 0; {
		at += r.uvarint()
		b := r.bytes(8)
		if r.bad || at >= uint64(len(dst)) {
			return errBlock
		}
		dst[at] = math.Float64frombits(binary.LittleEndian.Uint64(b))
	}
	return nil
}

// decimals decodes differences of whole numbers and divides by the power.
func decimals(raw []byte, power float64, dst []float64) bool {
	sum := int64(0)
	for len(dst) > 0 {
		if len(raw) >= 8 && len(dst) >= 8 { // as numbers.varints does
			if w := binary.LittleEndian.Uint64(raw); w&0x8080808080808080 == 0 {
				d := dst[:8]
				for i := range d {
					sum += unzigzag(w & 0x7f)
					d[i] = float64(sum) / power
					w >>= 8
				}
				raw, dst = raw[8:], dst[8:]
				continue
			}
		}
		u, n := binary.Uvarint(raw)
		if n <= 0 {
			return false
		}
		sum += unzigzag(u)
		dst[0] = float64(sum) / power
		raw, dst = raw[n:], dst[1:]
	}
	return len(raw) == 0
}
