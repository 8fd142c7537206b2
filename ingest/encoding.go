package ingest

import "sync"

// encoding is one way in which payloads hold numbers.
type encoding interface {
	// owns tells whether a place in a payload, a feed's Value or Time, is written
	// in this encoding's way.
	owns(where string) bool
	// plan begins what is wanted of the payloads of one topic.
	plan() plan
	// find lists the numbers of any payload; it has none where the payload is not
	// in this encoding.
	find(payload []byte) []Found
}

// plan answers in one pass over a payload all that is wanted of it.
type plan interface {
	// want lets what stands at the place become result i.
	want(where string, i int) error
	// read fills in the results that are wanted of it, which are absent before.
	// After an error they are void.
	read(payload []byte, results []result) error
}

// encodings are all of them. A stranger's payload is tried in this order, and the
// last owns every place that no other does.
var encodings = [...]encoding{bareEncoding{}, jsonEncoding{}}

func encodingOf(where string) int {
	for i, e := range encodings {
		if e.owns(where) {
			return i
		}
	}
	return len(encodings) - 1
}

// CheckPlace says what is wrong with a feed's Value or Time.
func CheckPlace(where string) error {
	return encodings[encodingOf(where)].plan().want(where, 0)
}

// numbersIn lists the numbers of any payload.
func numbersIn(payload []byte) []Found {
	for _, e := range encodings {
		if found := e.find(payload); len(found) > 0 {
			return found
		}
	}
	return nil
}

// slot is where an answer is found: by which encoding, as which result; the
// result is −1 where nothing is wanted.
type slot struct{ encoding, result int }

// plans are what is wanted of one topic's payloads, nil of an encoding that has
// nothing to answer.
type plans struct {
	each   [len(encodings)]plan
	wanted int
}

// want makes room for what stands at the place.
func (p *plans) want(where string) (slot, error) {
	s := slot{encodingOf(where), p.wanted}
	if p.each[s.encoding] == nil {
		p.each[s.encoding] = encodings[s.encoding].plan()
	}
	p.wanted++
	return s, p.each[s.encoding].want(where, s.result)
}

// answers is what one payload holds of what is wanted.
type answers struct {
	results []result
	broken  [len(encodings)]error // why its results are void
}

// spareAnswers saves an allocation for every payload.
var spareAnswers = sync.Pool{New: func() any { return new(answers) }}

// read answers from a payload, until the answers are let go.
func (p *plans) read(payload []byte) *answers {
	a := spareAnswers.Get().(*answers)
	a.results = append(a.results[:0], make([]result, p.wanted)...)
	for i, plan := range p.each {
		a.broken[i] = nil
		if plan != nil {
			a.broken[i] = plan.read(payload, a.results)
		}
	}
	return a
}

func (a *answers) release() {
	clear(a.results) // they point into the payload
	spareAnswers.Put(a)
}
