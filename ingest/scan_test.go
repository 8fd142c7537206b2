package ingest

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"parstead/light"
)

// The document and every pointer of RFC 6901, section 5.
const rfc6901 = `{
      "foo": ["bar", "baz"],
      "": 0,
      "a/b": 1,
      "c%d": 2,
      "e^f": 3,
      "g|h": 4,
      "i\\j": 5,
      "k\"l": 6,
      " ": 7,
      "m~n": 8
   }`

func TestPointersOfRFC6901(t *testing.T) {
	t.Parallel()
	for _, c := range []struct{ pointer, value string }{
		{`/foo`, `["bar", "baz"]`},
		{`/foo/0`, `"bar"`},
		{`/`, `0`},
		{`/a~1b`, `1`},
		{`/c%d`, `2`},
		{`/e^f`, `3`},
		{`/g|h`, `4`},
		{`/i\j`, `5`},
		{`/k"l`, `6`},
		{`/ `, `7`},
		{`/m~0n`, `8`},
		{`/foo/-`, ``},  // section 4: names no element
		{`/foo/01`, ``}, // section 4: no leading zeros
		{`/foo/2`, ``},
		{`/foo/bar`, ``},
		{`/a/b`, ``},
	} {
		tokens, err := parsePointer(c.pointer)
		if err != nil {
			t.Errorf("%s: %v", c.pointer, err)
			continue
		}
		if back := formatPointer(tokens); back != c.pointer {
			t.Errorf("%s is written back as %s", c.pointer, back)
		}
		var root place
		root.add(tokens, 0)
		results := make([]result, 1)
		if err := scan([]byte(rfc6901), &root, results); err != nil {
			t.Fatal(err)
		}
		if got := string(results[0].text); got != c.value {
			t.Errorf("%s: got %q, want %q", c.pointer, got, c.value)
		}
	}
	for _, bad := range []string{"foo", "/a~", "/a~2b"} {
		if _, err := parsePointer(bad); err == nil {
			t.Errorf("%q passes as a pointer", bad)
		}
	}
}

// walk is the same search over encoding/json's values.
func walk(doc any, tokens []string) (any, bool) {
	for _, token := range tokens {
		switch d := doc.(type) {
		case map[string]any:
			next, ok := d[token]
			if !ok {
				return nil, false
			}
			doc = next
		case []any:
			i := arrayIndex(token)
			if i < 0 || i >= len(d) {
				return nil, false
			}
			doc = d[i]
		default:
			return nil, false
		}
	}
	return doc, true
}

func FuzzScan(f *testing.F) {
	for _, seed := range []struct{ text, a, b string }{
		{rfc6901, "/foo/1", "/m~0n"},
		{`{"light":{"ppfd":85.5,"lux":"5700"},"at":"2026-07-21T12:00:00Z"}`, "/light/ppfd", "/at"},
		{`[1,-0,1e5,0.5E-3,[true,false,null]]`, "/2", "/4/1"},
		{`{"a":1,"a":{"b":2},"a":3}`, "/a/b", "/a"},
		{`{"\u00e9\ud83d\ude00":1,"é😀":2}`, "/é😀", "/x"},
		{`{"a":[{}]} x`, "/a/0", "/a"},
		{`"\ud800\u0000"`, "", "/0"},
		{"{\"\xff\":01}", "/\uFFFD", "/a"},
		{`{"a":1,}`, "/a", "/a"},
		{strings.Repeat("[", 50) + strings.Repeat("]", 50), "/0/0", "/0"},
	} {
		f.Add([]byte(seed.text), seed.a, seed.b)
	}
	f.Fuzz(func(t *testing.T, text []byte, a, b string) {
		pa, errA := parsePointer(a)
		pb, errB := parsePointer(b)
		if errA != nil || errB != nil {
			return
		}
		var root place
		root.add(pa, 0)
		root.add(pb, 1)
		results := make([]result, 2)
		err := scan(text, &root, results)
		if err != nil {
			if json.Valid(text) && !strings.Contains(err.Error(), "too deep") {
				t.Fatalf("%q: %v, but encoding/json reads it", text, err)
			}
			return
		}
		if !json.Valid(text) {
			t.Fatalf("%q passes, but encoding/json refuses it", text)
		}
		decoder := json.NewDecoder(bytes.NewReader(text))
		decoder.UseNumber()
		var doc any
		if err := decoder.Decode(&doc); err != nil {
			t.Fatal(err)
		}
		for i, pointer := range [][]string{pa, pb} {
			want, ok := walk(doc, pointer)
			if ok != (results[i].form != absent) {
				t.Fatalf("%q at %q: found %v, want %v", text, pointer, results[i].form != absent, ok)
			}
			if !ok {
				continue
			}
			decoder := json.NewDecoder(bytes.NewReader(results[i].text))
			decoder.UseNumber()
			var got any
			if err := decoder.Decode(&got); err != nil {
				t.Fatalf("%q at %q: %q: %v", text, pointer, results[i].text, err)
			}
			wantText, _ := json.Marshal(want)
			gotText, _ := json.Marshal(got)
			if !bytes.Equal(wantText, gotText) {
				t.Fatalf("%q at %q: got %s, want %s", text, pointer, gotText, wantText)
			}
			checkValue(t, results[i], want)
		}
	})
}

// checkValue holds the number read against strconv's and encoding/json's.
func checkValue(t *testing.T, r result, want any) {
	t.Helper()
	got, err := r.value(light.QuantityPPFD, NumberForm{})
	switch w := want.(type) {
	case json.Number:
		v, wantErr := w.Float64()
		if (err == nil) != (wantErr == nil) || err == nil && got != v {
			t.Fatalf("%s: got %v, %v, want %v", w, got, err, v)
		}
	case string:
		if err != nil {
			return
		}
		if v, wantErr := strconv.ParseFloat(strings.TrimSpace(w), 64); wantErr != nil || v != got || math.IsInf(v, 0) {
			t.Fatalf("text %q: got %v, strconv says %v, %v", w, got, v, wantErr)
		}
	default:
		if err == nil {
			t.Fatalf("%v gives the number %v", want, got)
		}
	}
}

func TestValues(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		payload string
		q       light.Quantity
		want    float64 // NaN: refused
	}{
		{"85.5", light.QuantityPPFD, 85.5},
		{" -1\n", light.QuantityLux, -1},
		{`"21.5"`, light.QuantityTemperature, 21.5},
		{"1e3", light.QuantityLux, 1000},
		{"+.5", light.QuantityLux, 0.5},
		{"true", light.QuantityWet, 1},
		{"False", light.QuantityWet, 0},
		{"1", light.QuantityWet, 1},
		{"true", light.QuantityLux, math.NaN()},
		{"", light.QuantityLux, math.NaN()},
		{"NaN", light.QuantityLux, math.NaN()},
		{"Inf", light.QuantityLux, math.NaN()},
		{"1e999", light.QuantityLux, math.NaN()},
		{"0x1p4", light.QuantityLux, math.NaN()},
		{"1_000", light.QuantityLux, math.NaN()},
		{"85,5", light.QuantityLux, math.NaN()},
		{"85 lx", light.QuantityLux, math.NaN()},
		{"{}", light.QuantityLux, math.NaN()},
	} {
		var p plans
		at, err := p.want("")
		if err != nil {
			t.Fatal(err)
		}
		got, err := p.read([]byte(c.payload)).results[at.result].value(c.q, NumberForm{})
		if math.IsNaN(c.want) != (err != nil) || err == nil && got != c.want {
			t.Errorf("%q as %v: got %v, %v, want %v", c.payload, c.q, got, err, c.want)
		}
	}
}

func TestOwnTimes(t *testing.T) {
	t.Parallel()
	// 1 000 000 000 s after 1970 is 2001-09-09T01:46:40Z (POSIX seconds, by hand:
	// 11574 days and 6400 s).
	billion := time.Date(2001, 9, 9, 1, 46, 40, 0, time.UTC)
	for _, c := range []struct {
		json string
		as   TimeFormat
		want time.Time // zero: refused
	}{
		// Examples of RFC 3339, section 5.8.
		{`"1985-04-12T23:20:50.52Z"`, RFC3339, time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC)},
		{`"1996-12-19T16:39:57-08:00"`, RFC3339, time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC)},
		{`"1937-01-01T12:00:27.87+00:20"`, RFC3339, time.Date(1937, 1, 1, 11, 40, 27, 870e6, time.UTC)},
		{`"1985-04-12t23:20:50z"`, RFC3339, time.Date(1985, 4, 12, 23, 20, 50, 0, time.UTC)},
		{`"1985-04-12 23:20"`, RFC3339, time.Time{}},
		{`1000000000`, RFC3339, time.Time{}},
		{`1000000000`, Unix, billion},
		{`"1000000000"`, Unix, billion},
		{`1000000000.123456789`, Unix, billion.Add(123456789)},
		{`1e9`, Unix, billion},
		{`1000000000123`, UnixMS, billion.Add(123 * time.Millisecond)},
		{`1000000000123.5`, UnixMS, billion.Add(123*time.Millisecond + 500*time.Microsecond)},
		{`99999999999999999999`, Unix, time.Time{}},
		{`1e300`, UnixMS, time.Time{}},
		{`null`, Unix, time.Time{}},
		{`"soon"`, Unix, time.Time{}},
		// ISO 8601-1:2019, 5.4.2.1: a local date and time in the extended format has no
		// sign of a zone.
		{`"1985-04-12T10:15:30"`, Local, time.Date(1985, 4, 12, 10, 15, 30, 0, time.UTC)},
		{`"1985-04-12 10:15"`, Local, time.Date(1985, 4, 12, 10, 15, 0, 0, time.UTC)},
		{`"1985-04-12 10:15:30.25"`, Local, time.Date(1985, 4, 12, 10, 15, 30, 250e6, time.UTC)},
		{`"1985-04-12T10:15:30Z"`, Local, time.Time{}},
		{`"12.04.1985 10:15"`, Local, time.Time{}},
		{`1000000000`, Local, time.Time{}},
	} {
		var root place
		root.add(nil, 0)
		results := make([]result, 1)
		if err := scan([]byte(c.json), &root, results); err != nil {
			t.Fatal(err)
		}
		got, err := results[0].ownTime(c.as, clockFace{})
		if c.want.IsZero() != (err != nil) || err == nil && !got.Equal(c.want) {
			t.Errorf("%s as %s: got %v, %v, want %v", c.json, c.as, got, err, c.want)
		}
	}
}

func FuzzOwnTime(f *testing.F) {
	f.Add("1700000000.25")
	f.Add("2026-07-21T12:00:00+01:00")
	f.Fuzz(func(t *testing.T, s string) {
		for _, as := range []TimeFormat{RFC3339, Unix, UnixMS, Local} {
			quoted, err := json.Marshal(s)
			if err != nil {
				return
			}
			r := result{formString, quoted}
			at, err := r.ownTime(as, clockFace{})
			if err != nil {
				continue
			}
			if v, err := strconv.ParseFloat(strings.TrimSpace(s), 64); as == Unix && err == nil {
				if got := float64(at.UnixNano()) / 1e9; math.Abs(got-v) > 1e-6*math.Max(1, math.Abs(v)/1e9) {
					t.Fatalf("%q: got %v, want %v", s, got, v)
				}
			}
		}
	})
}
