package ingest

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"parstead/light"
)

var (
	errNoNumber = errors.New("no finite number")
	errNoTime   = errors.New("no time in the stated format")
)

// value turns what stands at a pointer into a raw reading: a number, a number
// written as text in the form, or for a quantity that is a state, true or false.
func (r result) value(q light.Quantity, form NumberForm) (float64, error) {
	switch r.form {
	case formNumber:
		return parseNumber(string(r.text))
	case formString, formPlain, formTrue, formFalse:
		return parseText(r.plainText(), q, form)
	default:
		return 0, errNoNumber
	}
}

// plainText is what stands there, without a string's quotes.
func (r result) plainText() string {
	if r.form == formString {
		return unquote(r.text)
	}
	return string(r.text)
}

func parseText(s string, q light.Quantity, form NumberForm) (float64, error) {
	s = strings.TrimSpace(s)
	if q.IsState() {
		switch {
		case strings.EqualFold(s, "true"):
			return 1, nil
		case strings.EqualFold(s, "false"):
			return 0, nil
		}
	}
	v, err := parseNumber(form.plain(s))
	if err != nil {
		if has, ok := formOf(s); ok {
			err = form.unlike(has)
		}
	}
	return v, err
}

// parseNumber reads a decimal number. The hexadecimal, infinite and undefined
// ones that strconv knows are none here.
func parseNumber(s string) (float64, error) {
	for _, c := range []byte(s) {
		if (c < '0' || c > '9') && c != '.' && c != '-' && c != '+' && c != 'e' && c != 'E' {
			return 0, errNoNumber
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, errNoNumber
	}
	return v, nil
}

// ownTime turns what stands at a pointer into a reading's own time.
func (r result) ownTime(f TimeFormat, by clockFace) (time.Time, error) {
	var s string
	switch r.form {
	case formNumber:
		s = string(r.text)
	case formString:
		s = strings.TrimSpace(unquote(r.text))
	default:
		return time.Time{}, errNoTime
	}
	return f.parse(s, by)
}
