package ingest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"unicode/utf8"
)

// A place is a node of the tree of JSON Pointers that are wanted of a payload,
// so that one pass over the payload answers all of them.
type place struct {
	answers []int // which results the value at this place answers
	members []member
}

type member struct {
	token string
	index int // token as an array index, -1 if it is none
	*place
}

// add makes room for the pointer and lets its value answer result i.
func (p *place) add(pointer []string, i int) {
	for _, token := range pointer {
		p = p.child(token)
	}
	p.answers = append(p.answers, i)
}

func (p *place) child(token string) *place {
	for _, m := range p.members {
		if m.token == token {
			return m.place
		}
	}
	p.members = append(p.members, member{token, arrayIndex(token), &place{}})
	return p.members[len(p.members)-1].place
}

// clear forgets what was found below p: of a name that an object holds twice,
// the last counts, as with encoding/json.
func (p *place) clear(results []result) {
	for _, i := range p.answers {
		results[i] = result{}
	}
	for _, m := range p.members {
		m.clear(results)
	}
}

// form is the kind of a value in a payload: of JSON, but for formPlain.
type form uint8

const (
	absent form = iota
	formNumber
	formString
	formTrue
	formFalse
	formNull
	formObject
	formArray
	formPlain // text that is written as it is meant
)

// result is a value found in a payload, as it is written there.
type result struct {
	form form
	text []byte
}

// maxDepth bounds how deep arrays and objects may be nested, so that a payload
// cannot exhaust the stack.
const maxDepth = 100

// scanner walks one JSON text (RFC 8259) and notes the wanted values. It
// accepts what encoding/json accepts, up to maxDepth.
type scanner struct {
	text    []byte
	at      int
	depth   int
	results []result
}

// scan fills results with the values at the places below root. An error says
// at which byte the text stops being JSON; results are then void.
func scan(text []byte, root *place, results []result) error {
	s := scanner{text: text, results: results}
	s.space()
	if err := s.value(root); err != nil {
		return err
	}
	if s.space(); s.at < len(s.text) {
		return s.broken("something follows the value")
	}
	return nil
}

func (s *scanner) broken(what string) error {
	return fmt.Errorf("not JSON at byte %d: %s", s.at, what)
}

func (s *scanner) space() {
	for s.at < len(s.text) {
		switch s.text[s.at] {
		case ' ', '\t', '\n', '\r':
			s.at++
		default:
			return
		}
	}
}

// value reads any value; p is its place, nil where nothing in it is wanted.
func (s *scanner) value(p *place) error {
	if s.at == len(s.text) {
		return s.broken("the text ends where a value is due")
	}
	if p != nil {
		p.clear(s.results)
	}
	from := s.at
	var kind form
	var err error
	switch c := s.text[s.at]; {
	case c == '{':
		kind, err = formObject, s.object(p)
	case c == '[':
		kind, err = formArray, s.array(p)
	case c == '"':
		kind = formString
		_, err = s.quoted()
	case c == '-' || c >= '0' && c <= '9':
		kind, err = formNumber, s.number()
	case c == 't':
		kind, err = formTrue, s.literal("true")
	case c == 'f':
		kind, err = formFalse, s.literal("false")
	case c == 'n':
		kind, err = formNull, s.literal("null")
	default:
		return s.broken("no value begins like this")
	}
	if err != nil || p == nil {
		return err
	}
	for _, i := range p.answers {
		s.results[i] = result{kind, s.text[from:s.at]}
	}
	return nil
}

func (s *scanner) object(p *place) error {
	if s.depth++; s.depth > maxDepth {
		return s.broken("nested too deep")
	}
	s.at++
	s.space()
	for first := true; ; first = false {
		if s.at == len(s.text) {
			return s.broken("an object is not closed")
		}
		if s.text[s.at] == '}' && first {
			break
		}
		if s.text[s.at] != '"' {
			return s.broken("a name in quotes is due")
		}
		name, err := s.quoted()
		if err != nil {
			return err
		}
		s.space()
		if s.at == len(s.text) || s.text[s.at] != ':' {
			return s.broken("a colon is due")
		}
		s.at++
		s.space()
		if err := s.value(p.named(name)); err != nil {
			return err
		}
		if end, err := s.next('}'); err != nil {
			return err
		} else if end {
			break
		}
	}
	s.at++
	s.depth--
	return nil
}

func (s *scanner) array(p *place) error {
	if s.depth++; s.depth > maxDepth {
		return s.broken("nested too deep")
	}
	s.at++
	s.space()
	for i := 0; ; i++ {
		if s.at == len(s.text) {
			return s.broken("an array is not closed")
		}
		if s.text[s.at] == ']' && i == 0 {
			break
		}
		if err := s.value(p.element(i)); err != nil {
			return err
		}
		if end, err := s.next(']'); err != nil {
			return err
		} else if end {
			break
		}
	}
	s.at++
	s.depth--
	return nil
}

// next reads up to the following member, or stands at the closing bracket.
func (s *scanner) next(closing byte) (end bool, err error) {
	s.space()
	if s.at == len(s.text) {
		return false, s.broken("the text ends within brackets")
	}
	switch s.text[s.at] {
	case closing:
		return true, nil
	case ',':
		s.at++
		s.space()
		return false, nil
	default:
		return false, s.broken("a comma is due")
	}
}

// quoted reads a string and gives it as written, quotes included.
func (s *scanner) quoted() ([]byte, error) {
	from := s.at
	s.at++
	for s.at < len(s.text) {
		switch c := s.text[s.at]; {
		case c == '"':
			s.at++
			return s.text[from:s.at], nil
		case c < ' ':
			return nil, s.broken("a control character in a string")
		case c == '\\':
			if err := s.escape(); err != nil {
				return nil, err
			}
		default:
			s.at++
		}
	}
	return nil, s.broken("a string is not closed")
}

func (s *scanner) escape() error {
	rest := s.text[s.at+1:]
	if len(rest) == 0 {
		return s.broken("a string is not closed")
	}
	if bytes.IndexByte([]byte(`"\/bfnrt`), rest[0]) >= 0 {
		s.at += 2
		return nil
	}
	if rest[0] != 'u' || len(rest) < 5 {
		return s.broken("no such escape")
	}
	for _, c := range rest[1:5] {
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') && (c < 'A' || c > 'F') {
			return s.broken("no such escape")
		}
	}
	s.at += 6
	return nil
}

func (s *scanner) number() error {
	if s.text[s.at] == '-' {
		s.at++
	}
	switch {
	case s.at < len(s.text) && s.text[s.at] == '0':
		s.at++
	case !s.digits():
		return s.broken("a digit is due")
	}
	if s.at < len(s.text) && s.text[s.at] == '.' {
		s.at++
		if !s.digits() {
			return s.broken("a digit is due")
		}
	}
	if s.at < len(s.text) && (s.text[s.at] == 'e' || s.text[s.at] == 'E') {
		s.at++
		if s.at < len(s.text) && (s.text[s.at] == '+' || s.text[s.at] == '-') {
			s.at++
		}
		if !s.digits() {
			return s.broken("a digit is due")
		}
	}
	return nil
}

func (s *scanner) digits() bool {
	from := s.at
	for s.at < len(s.text) && s.text[s.at] >= '0' && s.text[s.at] <= '9' {
		s.at++
	}
	return s.at > from
}

func (s *scanner) literal(word string) error {
	if !bytes.HasPrefix(s.text[s.at:], []byte(word)) {
		return s.broken("no value begins like this")
	}
	s.at += len(word)
	return nil
}

// named is the wanted place of an object's member, nil if there is none.
func (p *place) named(quoted []byte) *place {
	if p == nil || len(p.members) == 0 {
		return nil
	}
	name := quoted[1 : len(quoted)-1]
	if bytes.IndexByte(name, '\\') >= 0 || !utf8.Valid(name) {
		name = []byte(unquote(quoted))
	}
	for _, m := range p.members {
		if m.token == string(name) {
			return m.place
		}
	}
	return nil
}

// element is the wanted place of an array's element, nil if there is none.
func (p *place) element(i int) *place {
	if p == nil {
		return nil
	}
	for _, m := range p.members {
		if m.index == i {
			return m.place
		}
	}
	return nil
}

// unquote is the text that a JSON string stands for.
func unquote(quoted []byte) string {
	inner := quoted[1 : len(quoted)-1]
	if bytes.IndexByte(inner, '\\') < 0 && utf8.Valid(inner) {
		return string(inner)
	}
	var s string
	if err := json.Unmarshal(quoted, &s); err != nil {
		return "" // not reached: the scanner has checked the string
	}
	return s
}
