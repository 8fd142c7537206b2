package ingest

import (
	"bytes"
	"errors"
	"math"
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
// written as text, or for a quantity that is a state, true or false.
func (r result) value(q light.Quantity) (float64, error) {
	switch r.form {
	case formNumber:
		return parseNumber(string(r.text))
	case formString:
		return parseText(unquote(r.text), q)
	case formTrue, formFalse:
		return parseText(string(r.text), q)
	default:
		return 0, errNoNumber
	}
}

// bareValue reads a payload that is itself the value.
func bareValue(payload []byte, q light.Quantity) (float64, error) {
	payload = bytes.TrimSpace(payload)
	if n := len(payload); n >= 2 && payload[0] == '"' && payload[n-1] == '"' {
		payload = payload[1 : n-1]
	}
	return parseText(string(payload), q)
}

func parseText(s string, q light.Quantity) (float64, error) {
	s = strings.TrimSpace(s)
	if q.IsState() {
		switch {
		case strings.EqualFold(s, "true"):
			return 1, nil
		case strings.EqualFold(s, "false"):
			return 0, nil
		}
	}
	return parseNumber(s)
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
func (r result) ownTime(f TimeFormat) (time.Time, error) {
	var s string
	switch r.form {
	case formNumber:
		s = string(r.text)
	case formString:
		s = strings.TrimSpace(unquote(r.text))
	default:
		return time.Time{}, errNoTime
	}
	switch f {
	case Unix:
		return parseUnix(s, 9)
	case UnixMS:
		return parseUnix(s, 6)
	default:
		// RFC 3339, section 5.6: T and Z may be written small.
		t, err := time.Parse(time.RFC3339, strings.ToUpper(s))
		if err != nil {
			return time.Time{}, errNoTime
		}
		return t.UTC(), nil
	}
}

// parseUnix reads a count of seconds since 1970 (decimals 9), or of
// milliseconds (decimals 6): decimals is how many of them come before the
// nanosecond. Plain decimal numbers are read exactly.
func parseUnix(s string, decimals int) (time.Time, error) {
	whole, fraction, _ := strings.Cut(s, ".")
	if plainDigits(whole) && (fraction == "" || plainDigits(fraction)) {
		fraction = (fraction + "000000000")[:decimals]
		n, err := strconv.ParseInt(whole+fraction, 10, 64)
		if err != nil {
			return time.Time{}, errNoTime
		}
		return time.Unix(0, n).UTC(), nil
	}
	v, err := parseNumber(s)
	if err != nil {
		return time.Time{}, errNoTime
	}
	v *= math.Pow10(decimals)
	if math.Abs(v) >= math.MaxInt64 {
		return time.Time{}, errNoTime
	}
	return time.Unix(0, int64(v)).UTC().Round(time.Microsecond), nil
}

func plainDigits(s string) bool {
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return false
		}
	}
	return s != ""
}
