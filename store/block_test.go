package store

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"parstead/light"
)

// exact compares floats bit for bit.
var exact = cmp.Options{
	cmp.AllowUnexported(columns{}, stored{}),
	cmp.Comparer(func(a, b float64) bool { return math.Float64bits(a) == math.Float64bits(b) }),
}

// encoders are kept: making one costs more than using it.
var encoders = sync.Pool{New: func() any {
	e, err := newEncoder()
	if err != nil {
		panic(err)
	}
	return e
}}

// same tells whether two blocks' readings are equal bit for bit.
func same(a, b *columns) bool {
	bits := func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) }
	return slices.Equal(a.at, b.at) && slices.EqualFunc(a.value, b.value, bits) && slices.Equal(a.mark, b.mark) &&
		slices.Equal(a.arrived, b.arrived) && slices.Equal(a.boot, b.boot) && slices.Equal(a.uptime, b.uptime)
}

func block(key []byte, c *columns) []byte {
	e := encoders.Get().(*encoder)
	defer encoders.Put(e)
	return e.block(key, c, 7)
}

// shapes are ways in which times and values come about.
var shapes = struct {
	times  map[string]func(*rand.Rand, int) int64 // nanoseconds after the start
	values map[string]func(*rand.Rand, int) float64
}{
	times: map[string]func(*rand.Rand, int) int64{
		"minutes":      func(_ *rand.Rand, i int) int64 { return int64(i) * 60e9 },
		"half seconds": func(_ *rand.Rand, i int) int64 { return int64(i)*60e9 + 5e8 },
		"seconds":      func(r *rand.Rand, i int) int64 { return int64(i)*60e9 + int64(r.IntN(30))*1e9 },
		"milliseconds": func(r *rand.Rand, i int) int64 { return int64(i)*60e9 + int64(r.IntN(40))*1e6 },
		"microseconds": func(r *rand.Rand, i int) int64 { return int64(i)*1e9 + int64(r.IntN(1e6))*1e3 },
		"nanoseconds":  func(r *rand.Rand, i int) int64 { return int64(i)*1e9 + int64(r.IntN(1e9)) },
		"two rates": func(_ *rand.Rand, i int) int64 {
			if i > 50 {
				return 50*60e9 + int64(i-50)*61e9
			}
			return int64(i) * 60e9
		},
		"all at once": func(*rand.Rand, int) int64 { return 0 },
	},
	values: map[string]func(*rand.Rand, int) float64{
		"whole":    func(r *rand.Rand, _ int) float64 { return float64(r.IntN(100)) },
		"constant": func(*rand.Rand, int) float64 { return 85.3 },
		"tenths":   func(r *rand.Rand, _ int) float64 { return float64(r.IntN(2000)-1000) / 10 },
		"six decimals": func(r *rand.Rand, _ int) float64 {
			return math.Round(r.NormFloat64()*1e8) / 1e6
		},
		"any float": func(r *rand.Rand, _ int) float64 {
			for {
				if v := math.Float64frombits(r.Uint64()); !math.IsNaN(v) && !math.IsInf(v, 0) {
					return v
				}
			}
		},
		"binary fractions": func(r *rand.Rand, _ int) float64 { return r.Float64() },
		"minus zero":       func(r *rand.Rand, _ int) float64 { return math.Copysign(0, float64(r.IntN(20))-0.5) },
		"rarely odd": func(r *rand.Rand, i int) float64 {
			if i%100 == 99 {
				return math.Pi * 1e40
			}
			return float64(r.IntN(50)) / 100
		},
		"huge whole": func(r *rand.Rand, _ int) float64 { return float64(r.Int64N(1<<53)) - 1<<52 },
	},
}

func randomColumns(r *rand.Rand, n int, at func(*rand.Rand, int) int64, value func(*rand.Rand, int) float64) *columns {
	c := &columns{}
	plainMarks, plainArrivals := r.IntN(2) == 0, r.IntN(2) == 0
	for i := range n {
		s := stored{at: start.UnixNano() + at(r, i), value: value(r, i), mark: light.OwnTime, boot: 3}
		if !plainMarks {
			s.mark = light.Mark(r.IntN(16))
		}
		s.arrived = s.at / 1e9
		if !plainArrivals {
			s.arrived += int64(r.IntN(3)) - 1
			s.boot += uint32(r.IntN(2))
		}
		s.uptime = s.arrived - start.Unix() + 100
		c.add(&s)
	}
	return c
}

// A block gives back bit for bit what went into it, whatever the times and
// values look like.
func TestBlockRoundTrip(t *testing.T) {
	t.Parallel()
	for timesName, at := range shapes.times {
		for valuesName, value := range shapes.values {
			r := rand.New(rand.NewPCG(1, 2))
			for _, n := range []int{1, 2, 3, 1440} {
				c := randomColumns(r, n, at, value)
				c.sort()
				key := blockKey(5, 2950, 1)
				record := block(key, c)
				var got columns
				if err := readBlock(key, record, &got); err != nil {
					t.Fatalf("%s, %s, %d readings: %v", timesName, valuesName, n, err)
				}
				if !same(c, &got) {
					t.Fatalf("%s, %s, %d readings: %s", timesName, valuesName, n, cmp.Diff(c, &got, exact))
				}
				h, err := openBlock(key, record)
				if err != nil {
					t.Fatal(err)
				}
				var series light.Series
				if _, err := new(decoder).series(&h, nil, &series); err != nil {
					t.Fatal(err)
				}
				got.at, got.value = series.Times, series.Values
				if !same(c, &got) {
					t.Fatalf("%s, %s, %d readings: the series differs", timesName, valuesName, n)
				}
				for i, mark := range c.mark {
					if mark&^light.OwnTime != 0 && series.Marks[i] != mark {
						t.Fatalf("%s, %s, %d readings: mark %d differs", timesName, valuesName, n, i)
					}
				}
			}
		}
	}
}

func TestFullBlock(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(1, 2))
	c := randomColumns(r, maxBlock, shapes.times["nanoseconds"], shapes.values["any float"])
	c.sort()
	var got columns
	if err := readBlock(nil, block(nil, c), &got); err != nil {
		t.Fatal(err)
	}
	if !same(c, &got) {
		t.Error("a full block differs")
	}
}

// Any change to a block's bytes, or another key, is recognised.
func TestBlockDamage(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(3, 4))
	c := randomColumns(r, 300, shapes.times["milliseconds"], shapes.values["tenths"])
	c.sort()
	key := blockKey(1, 2, 0)
	whole := block(key, c)
	var got columns
	for i := range whole {
		record := slices.Clone(whole)
		record[i] ^= 1 << r.IntN(8)
		if err := readBlock(key, record, &got); !errors.Is(err, ErrDamaged) {
			t.Fatalf("a flipped bit in byte %d: %v", i, err)
		}
		if err := readBlock(key, whole[:i], &got); !errors.Is(err, ErrDamaged) {
			t.Fatalf("cut after byte %d: %v", i, err)
		}
	}
	if err := readBlock(blockKey(1, 2, 1), whole, &got); !errors.Is(err, ErrDamaged) {
		t.Fatalf("under another key: %v", err)
	}
}

// FuzzBlockRoundTrip makes columns of the fuzzer's bytes, 17 a reading.
func FuzzBlockRoundTrip(f *testing.F) {
	f.Add([]byte("0123456789abcdefg0123456789abcdefg"), uint8(0))
	f.Add(make([]byte, 17*40), uint8(2))
	f.Fuzz(func(t *testing.T, data []byte, unit uint8) {
		var c columns
		ns := timeUnits[int(unit)%len(timeUnits)]
		for ; len(data) >= 17 && c.len() < maxBlock; data = data[17:] {
			value := math.Float64frombits(binary.LittleEndian.Uint64(data[8:]))
			if math.IsNaN(value) || math.IsInf(value, 0) {
				continue
			}
			at := int64(binary.LittleEndian.Uint64(data)%weekSeconds) * ns
			c.add(&stored{
				at: at, value: value, mark: light.Mark(data[16] & flagMarks),
				arrived: at/1e9 + int64(data[16]>>6), boot: uint32(data[16] >> 5), uptime: int64(data[16] >> 4),
			})
		}
		if c.len() == 0 {
			return
		}
		c.sort()
		var got columns
		if err := readBlock(nil, block(nil, &c), &got); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(c, got, exact); diff != "" {
			t.Error(diff)
		}
	})
}

// FuzzReadBlock gives the decoder damaged blocks under a checksum that holds:
// it reads them or says ErrDamaged, and never more.
func FuzzReadBlock(f *testing.F) {
	r := rand.New(rand.NewPCG(5, 6))
	for _, at := range shapes.times {
		for _, value := range shapes.values {
			c := randomColumns(r, 40, at, value)
			c.sort()
			record := block(nil, c)
			f.Add(record[:len(record)-sealSize])
		}
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		record := seal(nil, slices.Clone(body))
		var c columns
		err := readBlock(nil, record, &c)
		if err == nil {
			return
		}
		if !errors.Is(err, ErrDamaged) && (len(body) < 2 || body[1] == recordVersion) {
			t.Fatalf("%v", err)
		}
		h, err := openBlock(nil, record)
		if err != nil {
			return
		}
		series := light.Series{Times: []int64{1}, Values: []float64{2}}
		if _, err := new(decoder).series(&h, clockSteps{3: {{3, 10, 5}}}, &series); err != nil && series.Len() != 1 {
			t.Fatalf("a damaged block left %d readings behind", series.Len())
		}
	})
}

// FuzzReadGroup does the same for groups.
func FuzzReadGroup(f *testing.F) {
	var w groupWriter
	s := stored{sensor: 3, at: start.UnixNano(), value: 1.1, mark: light.OwnTime, arrived: start.Unix(), boot: 2, uptime: 5}
	w.begin(2, &s)
	w.add(&s)
	s.at, s.arrived, s.value = s.at+1234567, s.arrived+1, 2
	w.add(&s)
	f.Add(slices.Clone(w.buf))
	f.Fuzz(func(t *testing.T, body []byte) {
		g, err := readGroup(nil, seal(nil, slices.Clone(body)))
		for err == nil && g.next() {
		}
		if err == nil {
			err = g.err
		}
		if err != nil && !errors.Is(err, ErrDamaged) && (len(body) < 2 || body[1] == recordVersion) {
			t.Fatal(err)
		}
	})
}

// A group gives back bit for bit what went into it.
func TestGroupRoundTrip(t *testing.T) {
	t.Parallel()
	r := rand.New(rand.NewPCG(7, 8))
	for _, at := range shapes.times {
		for _, value := range shapes.values {
			c := randomColumns(r, 50, at, value)
			var want, got []stored
			for i := range c.at {
				want = append(want, stored{uint32(r.IntN(300)), c.at[i], c.value[i], c.mark[i], c.arrived[i], c.boot[i], c.uptime[i]})
			}
			var w groupWriter
			w.begin(len(want), &want[0])
			for i := range want {
				w.add(&want[i])
			}
			g, err := readGroup([]byte{1}, seal([]byte{1}, w.buf))
			if err != nil {
				t.Fatal(err)
			}
			for g.next() {
				got = append(got, g.stored)
			}
			if g.err != nil {
				t.Fatal(g.err)
			}
			if diff := cmp.Diff(want, got, exact); diff != "" {
				t.Fatal(diff)
			}
		}
	}
}

func TestWeeks(t *testing.T) {
	t.Parallel()
	for _, at := range []int64{0, -1, 1, start.UnixNano(), math.MinInt64, math.MaxInt64} {
		week := weekOf(at)
		_, got, piece, ok := splitBlockKey(blockKey(9, week, 4))
		if !ok || got != week || piece != 4 {
			t.Errorf("week %d comes back as %d", week, got)
		}
	}
	if weekOf(-1) != -1 || weekOf(int64(7*24*time.Hour)) != 1 {
		t.Error("weeks begin elsewhere than at 1970")
	}
	before, after := blockKey(1, -1, 0), blockKey(1, 0, 0)
	if slices.Compare(before, after) >= 0 {
		t.Error("keys are not in the order of weeks")
	}
}
