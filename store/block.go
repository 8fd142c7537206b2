package store

import (
	"encoding/binary"
	"fmt"
	"math"
	"slices"
	"sync"

	"github.com/klauspost/compress/zstd"

	"parstead/light"
)

// maxBlock is the most readings that one block holds; a week of more goes into
// several pieces.
const maxBlock = 1 << 16

// The columns of a block, in the order in which they are stored.
const (
	columnTimes = iota
	columnValues
	columnExceptions // values that the code of the others can't hold
	columnMarks
	columnArrivals
	columnCount
)

// columns are readings of one sensor, ordered by time.
type columns struct {
	at      []int64 // Unix nanoseconds
	value   []float64
	mark    []light.Mark
	arrived []int64 // Unix seconds
	boot    []uint32
	uptime  []int64 // seconds
}

// newColumns has room for n readings.
func newColumns(n int) *columns {
	return &columns{
		make([]int64, 0, n), make([]float64, 0, n), make([]light.Mark, 0, n),
		make([]int64, 0, n), make([]uint32, 0, n), make([]int64, 0, n),
	}
}

func (c *columns) len() int { return len(c.at) }

func (c *columns) reset() {
	c.at, c.value, c.mark = c.at[:0], c.value[:0], c.mark[:0]
	c.arrived, c.boot, c.uptime = c.arrived[:0], c.boot[:0], c.uptime[:0]
}

func (c *columns) add(r *stored) {
	c.at = append(c.at, r.at)
	c.value = append(c.value, r.value)
	c.mark = append(c.mark, r.mark)
	c.arrived = append(c.arrived, r.arrived)
	c.boot = append(c.boot, r.boot)
	c.uptime = append(c.uptime, r.uptime)
}

// reading is the reading at a place, as one of the sensor.
func (c *columns) reading(sensor uint32, i int) stored {
	return stored{sensor, c.at[i], c.value[i], c.mark[i], c.arrived[i], c.boot[i], c.uptime[i]}
}

// join adds the readings of another.
func (c *columns) join(x *columns) {
	c.at = append(c.at, x.at...)
	c.value = append(c.value, x.value...)
	c.mark = append(c.mark, x.mark...)
	c.arrived = append(c.arrived, x.arrived...)
	c.boot = append(c.boot, x.boot...)
	c.uptime = append(c.uptime, x.uptime...)
}

// grow adds n readings that are still to be filled in, and returns them.
func (c *columns) grow(n int) *columns {
	had := c.len()
	all := had + n
	c.at, c.value, c.mark = slices.Grow(c.at, n)[:all], slices.Grow(c.value, n)[:all], slices.Grow(c.mark, n)[:all]
	c.arrived, c.boot, c.uptime = slices.Grow(c.arrived, n)[:all], slices.Grow(c.boot, n)[:all], slices.Grow(c.uptime, n)[:all]
	return c.part(had, all)
}

// part is the readings [from,until), sharing memory.
func (c *columns) part(from, until int) *columns {
	return &columns{
		c.at[from:until], c.value[from:until], c.mark[from:until],
		c.arrived[from:until], c.boot[from:until], c.uptime[from:until],
	}
}

// sort orders the readings by time; those of one time keep their order.
func (c *columns) sort() {
	if slices.IsSorted(c.at) {
		return
	}
	order := make([]int, c.len())
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		switch {
		case c.at[i] < c.at[j]:
			return -1
		case c.at[i] > c.at[j]:
			return 1
		}
		return 0
	})
	c.at, c.value, c.mark = inOrder(c.at, order), inOrder(c.value, order), inOrder(c.mark, order)
	c.arrived, c.boot, c.uptime = inOrder(c.arrived, order), inOrder(c.boot, order), inOrder(c.uptime, order)
}

func inOrder[T any](column []T, order []int) []T {
	sorted := make([]T, len(order))
	for i, from := range order {
		sorted[i] = column[from]
	}
	return sorted
}

// blockHeader is what a block says about itself.
type blockHeader struct {
	count       int
	first, last int64  // times, Unix nanoseconds
	generation  uint64 // number of the last group that went into it
	any, all    light.Mark
	bootLow     uint32
	bootHigh    uint32
	time        timeCode
	value       valueCode
	exponent    uint8 // of the decimal code
	zipped      uint8 // a bit a column
	sizes       [columnCount]struct{ stored, raw int }
	body        []byte // the columns
}

// encoder makes blocks. It is not safe for concurrent use.
type encoder struct {
	zip     *zstd.Encoder
	scratch []byte
	body    []byte
	ints    []int64
}

func newEncoder() (*encoder, error) {
	zip, err := zstd.NewWriter(nil,
		zstd.WithEncoderLevel(zstd.SpeedDefault), zstd.WithEncoderConcurrency(1),
		zstd.WithEncoderCRC(false), // the record has its own
		zstd.WithSingleSegment(true), zstd.WithWindowSize(1<<18), zstd.WithLowerEncoderMem(true))
	if err != nil {
		return nil, fmt.Errorf("compression: %w", err)
	}
	return &encoder{zip: zip}, nil
}

// block encodes at least one and at most maxBlock readings, ordered by time.
func (e *encoder) block(key []byte, c *columns, generation uint64) []byte {
	h := blockHeader{
		count: c.len(), first: c.at[0], last: c.at[c.len()-1], generation: generation,
		any: 0, all: 0xff, bootLow: math.MaxUint32,
	}
	for i, m := range c.mark {
		h.any |= m
		h.all &= m
		h.bootLow, h.bootHigh = min(h.bootLow, c.boot[i]), max(h.bootHigh, c.boot[i])
	}
	body := e.body[:0]
	column := func(i int, raw []byte) {
		h.sizes[i].raw = len(raw)
		start := len(body)
		if len(raw) > 16 {
			body = e.zip.EncodeAll(raw, body)
		}
		if n := len(body) - start; n > 0 && n < len(raw) {
			h.zipped |= 1 << i
		} else {
			body = append(body[:start], raw...)
		}
		h.sizes[i].stored = len(body) - start
		e.scratch = raw[:0]
	}
	var raw, exceptions []byte
	raw, h.time = e.times(e.scratch[:0], c.at)
	column(columnTimes, raw)
	raw, exceptions, h.value, h.exponent = e.values(e.scratch[:0], c.value)
	column(columnValues, raw)
	column(columnExceptions, exceptions)
	raw = e.scratch[:0]
	if h.any != h.all {
		raw = e.marks(raw, c.mark)
	}
	column(columnMarks, raw)
	column(columnArrivals, e.arrivals(e.scratch[:0], c))
	e.body = body

	b := make([]byte, 0, 2+16+columnCount*2*3+8*5+len(body)+sealSize)
	b = append(b, kindBlock, recordVersion, byte(h.time), byte(h.value), h.exponent, byte(h.any), byte(h.all), h.zipped)
	b = binary.AppendUvarint(b, uint64(h.count))
	b = binary.AppendVarint(b, h.first)
	b = binary.AppendUvarint(b, uint64(h.last-h.first))
	b = binary.AppendUvarint(b, h.generation)
	b = binary.AppendUvarint(b, uint64(h.bootLow))
	b = binary.AppendUvarint(b, uint64(h.bootHigh))
	for _, s := range h.sizes {
		b = binary.AppendUvarint(b, uint64(s.raw))
		b = binary.AppendUvarint(b, uint64(s.stored))
	}
	return seal(key, append(b, body...))
}

// inside tells whether all readings have raw times in the span.
func (h *blockHeader) inside(span nanos) bool { return h.first >= span.from && h.last < span.until }

// expected is about how many readings lie in the span.
func (h *blockHeader) expected(span nanos) int {
	if h.inside(span) {
		return h.count
	}
	share := float64(min(h.last, span.until)-max(h.first, span.from)) / float64(h.last-h.first+1)
	return int(min(max(share, 0), 1)*float64(h.count)) + 1
}

// openBlock checks a block's record and reads its header.
func openBlock(key, record []byte) (h blockHeader, err error) {
	body, err := unseal(kindBlock, key, record)
	if err != nil {
		return h, fmt.Errorf("block: %w", err)
	}
	if len(body) < 6 {
		return h, errBlock
	}
	h.time, h.value, h.exponent = timeCode(body[0]), valueCode(body[1]), body[2]
	h.any, h.all, h.zipped = light.Mark(body[3]), light.Mark(body[4]), body[5]
	r := numbers{rest: body[6:]}
	count := r.uvarint()
	h.first = r.varint()
	h.last = h.first + int64(r.uvarint())
	h.generation = r.uvarint()
	h.bootLow, h.bootHigh = uint32(r.uvarint()), uint32(r.uvarint())
	if r.bad || count == 0 || count > maxBlock || h.last < h.first {
		return h, errBlock
	}
	h.count = int(count)
	total := 0
	for i := range h.sizes {
		raw, stored := r.uvarint(), r.uvarint()
		// No column takes more than three numbers and their counts a reading.
		if raw > 64*maxBlock || stored > uint64(len(r.rest)) || (h.zipped&(1<<i) == 0 && raw != stored) {
			return h, errBlock
		}
		h.sizes[i].raw, h.sizes[i].stored = int(raw), int(stored)
		total += int(stored)
	}
	if r.bad || total != len(r.rest) {
		return h, errBlock
	}
	h.body = r.rest
	return h, nil
}

var errBlock = fmt.Errorf("block breaks its own form: %w", ErrDamaged)

// decoder unpacks blocks; take one from decoders.
type decoder struct {
	scratch []byte
	headers []blockHeader
	extra   columns // for what a series does not carry
	part    light.Series
}

var decoders = sync.Pool{New: func() any { return new(decoder) }}

// unzip is shared: it may be used from several goroutines and keeps little.
var unzip = sync.OnceValues(func() (*zstd.Decoder, error) {
	return zstd.NewReader(nil, zstd.WithDecoderConcurrency(0), zstd.WithDecoderLowmem(true),
		zstd.WithDecoderMaxMemory(128*maxBlock), zstd.WithDecodeAllCapLimit(true), zstd.IgnoreChecksum(true))
})

// column is the named column as it was before compression. It is valid until
// the next call.
func (d *decoder) column(h *blockHeader, i int) ([]byte, error) {
	body := h.body
	for _, s := range h.sizes[:i] {
		body = body[s.stored:]
	}
	body = body[:h.sizes[i].stored]
	if h.zipped&(1<<i) == 0 {
		return body, nil
	}
	z, err := unzip()
	if err != nil {
		return nil, fmt.Errorf("decompression: %w", err)
	}
	if need := h.sizes[i].raw + 64; cap(d.scratch) < need {
		d.scratch = make([]byte, 0, need)
	}
	raw, err := z.DecodeAll(body, d.scratch[:0])
	if err != nil || len(raw) != h.sizes[i].raw {
		return nil, errBlock
	}
	return raw, nil
}

// series appends the block's readings to dst, arrivals rebased by the steps of
// the clock; it tells whether the order may have suffered from that. On an
// error dst holds what it held before.
func (d *decoder) series(h *blockHeader, steps clockSteps, dst *light.Series) (rebased bool, err error) {
	n := dst.Len()
	dst.Times = slices.Grow(dst.Times, h.count)[:n+h.count]
	dst.Values = slices.Grow(dst.Values, h.count)[:n+h.count]
	defer func() {
		if err != nil {
			dst.Times, dst.Values = dst.Times[:n], dst.Values[:n]
			if dst.Marks != nil {
				dst.Marks = dst.Marks[:n]
			}
		}
	}()
	if err := d.times(h, dst.Times[n:]); err != nil {
		return false, err
	}
	if err := d.values(h, dst.Values[n:]); err != nil {
		return false, err
	}
	if dst.Marks == nil && h.any&^light.OwnTime != 0 {
		dst.Marks = make([]light.Mark, n, cap(dst.Times))
	}
	if dst.Marks != nil {
		dst.Marks = slices.Grow(dst.Marks, h.count)[:n+h.count]
		if err := d.marks(h, dst.Marks[n:]); err != nil {
			return false, err
		}
	}
	if h.all&light.OwnTime != 0 || !steps.between(h.bootLow, h.bootHigh) {
		return false, nil
	}
	d.extra.reset()
	x := d.extra.grow(h.count)
	copy(x.at, dst.Times[n:])
	if err := d.marks(h, x.mark); err != nil {
		return false, err
	}
	if err := d.arrivals(h, x); err != nil {
		return false, err
	}
	for i, mark := range x.mark {
		if mark&light.OwnTime == 0 {
			dst.Times[n+i] += steps.shift(x.boot[i], x.uptime[i])
		}
	}
	return true, nil
}

// all appends everything the block holds to c.
func (d *decoder) all(h *blockHeader, c *columns) error {
	part := c.grow(h.count)
	if err := d.times(h, part.at); err != nil {
		return err
	}
	if err := d.values(h, part.value); err != nil {
		return err
	}
	if err := d.marks(h, part.mark); err != nil {
		return err
	}
	return d.arrivals(h, part)
}

// readBlock appends everything that a block's record holds to c.
func readBlock(key, record []byte, c *columns) error {
	h, err := openBlock(key, record)
	if err != nil {
		return err
	}
	d := decoders.Get().(*decoder)
	defer decoders.Put(d)
	return d.all(&h, c)
}

// between tells whether the clock stepped under any of these boot numbers.
func (c clockSteps) between(low, high uint32) bool {
	for boot := range c {
		if low <= boot && boot <= high {
			return true
		}
	}
	return false
}

// numbers is room for n numbers.
func (e *encoder) numbers(n int) []int64 {
	e.ints = slices.Grow(e.ints[:0], n)[:n]
	return e.ints
}

// arrivals writes when the readings came: the arrival against the reading's
// time, the boot number, and the arrival less the uptime, which is when that
// boot began.
func (e *encoder) arrivals(b []byte, c *columns) []byte {
	n := e.numbers(c.len())
	for i, at := range c.at {
		n[i] = c.arrived[i] - secondOf(at)
	}
	b = appendRuns(b, n)
	for i, boot := range c.boot {
		n[i] = int64(boot)
	}
	b = appendRuns(b, n)
	for i, arrived := range c.arrived {
		n[i] = arrived - c.uptime[i]
	}
	return appendRuns(b, n)
}

// marks writes the marks.
func (e *encoder) marks(b []byte, marks []light.Mark) []byte {
	n := e.numbers(len(marks))
	for i, m := range marks {
		n[i] = int64(m)
	}
	return appendRuns(b, n)
}

// arrivals reads into c the arrivals of the readings whose times it holds.
func (d *decoder) arrivals(h *blockHeader, c *columns) error {
	raw, err := d.column(h, columnArrivals)
	if err != nil {
		return err
	}
	n := c.len()
	r := numbers{rest: raw}
	r.runs(n, func(i int, v int64) { c.arrived[i] = secondOf(c.at[i]) + v })
	r.runs(n, func(i int, v int64) { c.boot[i] = uint32(v) })
	r.runs(n, func(i int, v int64) { c.uptime[i] = c.arrived[i] - v })
	if r.bad || len(r.rest) != 0 {
		return errBlock
	}
	return nil
}

// marks reads the marks into dst.
func (d *decoder) marks(h *blockHeader, dst []light.Mark) error {
	if h.any == h.all {
		for i := range dst {
			dst[i] = h.any
		}
		return nil
	}
	raw, err := d.column(h, columnMarks)
	if err != nil {
		return err
	}
	r := numbers{rest: raw}
	r.runs(len(dst), func(i int, v int64) { dst[i] = light.Mark(v) })
	if r.bad || len(r.rest) != 0 {
		return errBlock
	}
	return nil
}

// secondOf is the whole second in which a time falls.
func secondOf(at int64) int64 {
	s := at / 1e9
	if at%1e9 < 0 {
		s--
	}
	return s
}
