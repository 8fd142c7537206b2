package ingest

import (
	"cmp"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"parstead/light"
)

// TimeFormat says how a payload writes a reading's own time; "" is RFC3339.
type TimeFormat string

// The formats of a reading's own time.
const (
	RFC3339 TimeFormat = "rfc3339"
	Unix    TimeFormat = "unix"    // seconds since 1970, fractions allowed
	UnixMS  TimeFormat = "unix_ms" // milliseconds since 1970
	Local   TimeFormat = "local"   // a date and time without a zone
)

// clockFace is what a time without a zone is read by.
type clockFace struct {
	zone   *time.Location // nil for UTC
	passed time.Time      // of the readings that came before, the newest
	now    time.Time
}

// timeFormats are all of them, the first where none is said.
var timeFormats = []struct {
	name  TimeFormat
	parse func(s string, by clockFace) (time.Time, error)
	looks func(s string) bool // whether a stranger's text is taken for such a time
}{
	{
		RFC3339,
		func(s string, _ clockFace) (time.Time, error) {
			// RFC 3339, section 5.6: T and Z may be written small.
			t, err := time.Parse(time.RFC3339, strings.ToUpper(s))
			if err != nil {
				return time.Time{}, errNoTime
			}
			return t.UTC(), nil
		},
		func(s string) bool {
			_, err := time.Parse(time.RFC3339, s)
			return err == nil
		},
	},
	{
		Unix,
		func(s string, _ clockFace) (time.Time, error) { return parseUnix(s, 9) },
		func(s string) bool { return ofThisCentury(s, 1) },
	},
	{
		UnixMS,
		func(s string, _ clockFace) (time.Time, error) { return parseUnix(s, 6) },
		func(s string) bool { return ofThisCentury(s, 1000) },
	},
	{
		Local,
		parseLocal,
		func(s string) bool {
			_, ok := readLocal(s)
			return ok
		},
	},
}

// TimeFormats names them all.
func TimeFormats() []string {
	var names []string
	for _, f := range timeFormats {
		names = append(names, string(f.name))
	}
	return names
}

// check says what is wrong with the format's name.
func (f TimeFormat) check() error {
	names := TimeFormats()
	for _, name := range names {
		if name == string(cmp.Or(f, timeFormats[0].name)) {
			return nil
		}
	}
	last := len(names) - 1
	return fmt.Errorf("time_format %q: use %s or %s", f, strings.Join(names[:last], ", "), names[last])
}

func (f TimeFormat) parse(s string, by clockFace) (time.Time, error) {
	for i := range timeFormats {
		if timeFormats[i].name == f {
			return timeFormats[i].parse(s, by)
		}
	}
	return timeFormats[0].parse(s, by)
}

// looksLikeTime tells in what format a stranger's text may be a time.
func looksLikeTime(s string) (TimeFormat, bool) {
	for i := range timeFormats {
		if timeFormats[i].looks(s) {
			return timeFormats[i].name, true
		}
	}
	return "", false
}

// readLocal reads a date and time without a zone, as ISO 8601 writes it or with a
// blank for its T. The time is that of a clock in UTC.
func readLocal(s string) (time.Time, bool) {
	for _, layout := range []string{"2006-01-02T15:04:05", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02 15:04"} {
		if t, err := time.Parse(layout, strings.ToUpper(s)); err == nil { // fractions of a second may follow
			return t, true
		}
	}
	return time.Time{}, false
}

// parseLocal reads a time that the zone's clocks show. Of an hour that they show
// twice it is the first passage, unless later readings have passed that, and
// the second has come.
func parseLocal(s string, by clockFace) (time.Time, error) {
	shown, ok := readLocal(s)
	if !ok {
		return time.Time{}, errNoTime
	}
	passages := light.LocalTimes(shown, cmp.Or(by.zone, time.UTC))
	if len(passages) == 0 {
		return time.Time{}, errNoTime
	}
	if len(passages) > 1 && passages[0].Before(by.passed) && !light.Ahead(passages[1], by.now) {
		return passages[1], nil
	}
	return passages[0], nil
}

// ofThisCentury tells whether a number lies between 2020 and 2100 when counted
// from 1970, so many a second: no sensor of this trade reads so high.
func ofThisCentury(s string, perSecond float64) bool {
	const from, until = 1577836800, 4102444800
	v, err := parseNumber(s)
	return err == nil && v >= from*perSecond && v < until*perSecond
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
