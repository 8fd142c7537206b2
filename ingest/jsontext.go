package ingest

import (
	"bytes"
	"encoding/json"
	"slices"
	"strconv"
	"strings"
)

// jsonEncoding is a JSON document with numbers at JSON Pointers.
type jsonEncoding struct{}

func (jsonEncoding) owns(where string) bool { return strings.HasPrefix(where, "/") }

func (jsonEncoding) plan() plan { return new(place) }

func (p *place) want(where string, i int) error {
	pointer, err := parsePointer(where)
	if err == nil {
		p.add(pointer, i)
	}
	return err
}

func (p *place) read(payload []byte, results []result) error { return scan(payload, p, results) }

// find lists every number, text that may be one, and truth value in a document,
// except what looks like the time.
func (jsonEncoding) find(payload []byte) []Found {
	var root place
	if scan(payload, &root, nil) != nil { // bounds the depth of what is decoded below
		return nil
	}
	decoder := json.NewDecoder(bytes.NewReader(payload))
	decoder.UseNumber()
	var doc any
	if err := decoder.Decode(&doc); err != nil {
		return nil
	}
	w := walker{}
	w.walk(doc)
	for i := range w.found {
		w.found[i].Time, w.found[i].TimeFormat = w.time, w.format
	}
	return w.found
}

// walker goes through a JSON document in the order of its names.
type walker struct {
	path   []string
	found  []Found
	time   string
	format TimeFormat
}

func (w *walker) walk(v any) {
	switch v := v.(type) {
	case map[string]any:
		names := make([]string, 0, len(v))
		for name := range v {
			names = append(names, name)
		}
		slices.Sort(names)
		for _, name := range names {
			w.step(name, v[name])
		}
	case []any:
		for i, e := range v {
			w.step(strconv.Itoa(i), e)
		}
	case json.Number:
		w.leaf(v.String())
	case string:
		w.leaf(v)
	case bool:
		w.leaf(strconv.FormatBool(v))
	}
}

func (w *walker) step(name string, v any) {
	w.path = append(w.path, name)
	w.walk(v)
	w.path = w.path[:len(w.path)-1]
}

func (w *walker) leaf(s string) {
	if format, ok := looksLikeTime(s); ok && w.time == "" {
		w.time, w.format = formatPointer(w.path), format
		return
	}
	if f, ok := foundIn(s); ok && len(w.found) < maxPointers {
		f.Pointer = formatPointer(w.path)
		w.found = append(w.found, f)
	}
}
