package ingest

import (
	"bytes"
	"strings"
)

// bareEncoding is a payload that is itself the number, quoted or not.
type bareEncoding struct{}

func (bareEncoding) owns(where string) bool { return where == "" }

func (bareEncoding) plan() plan { return new(barePlan) }

func (bareEncoding) find(payload []byte) []Found {
	f, ok := foundIn(string(unquoted(payload)))
	if !ok {
		return nil
	}
	return []Found{f}
}

// foundIn is a text that a feed could read as a number, or as a state.
func foundIn(s string) (f Found, ok bool) {
	s = strings.TrimSpace(s)
	f.Example = s
	if _, err := parseNumber(s); err == nil || isTruth(s) {
		return f, true
	}
	f.Form, ok = formOf(s)
	return f, ok
}

// unquoted is a payload without blanks and quotes around.
func unquoted(payload []byte) []byte {
	payload = bytes.TrimSpace(payload)
	if n := len(payload); n >= 2 && payload[0] == '"' && payload[n-1] == '"' {
		payload = payload[1 : n-1]
	}
	return payload
}

func isTruth(s string) bool { return strings.EqualFold(s, "true") || strings.EqualFold(s, "false") }

// barePlan is the results that the payload answers.
type barePlan []int

func (p *barePlan) want(_ string, i int) error {
	*p = append(*p, i)
	return nil
}

func (p *barePlan) read(payload []byte, results []result) error {
	payload = unquoted(payload)
	for _, i := range *p {
		results[i] = result{formPlain, payload}
	}
	return nil
}
