package light

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// DateOrder says how dates with slashes or hyphens put day and month.
type DateOrder string

// The orders of a date that doesn't begin with its year.
const (
	EitherOrder DateOrder = "" // as long as it can mean one day only
	DayFirst    DateOrder = "day-first"
	MonthFirst  DateOrder = "month-first"
)

// Written is a date as people, spreadsheets and loggers write it.
type Written struct {
	At    time.Time // an instant where Zoned, else what a clock shows, in UTC
	Zoned bool      // it names its offset from UTC
	Timed bool      // it has a time of day
}

// ErrNoDate says that a text is no date.
var ErrNoDate = errors.New("not a date")

// TwoWaysError is a date that can be read in more than one way.
type TwoWaysError struct {
	Text string
	Days []Date
}

func (e *TwoWaysError) Error() string {
	var days []string
	for _, d := range e.Days {
		days = append(days, d.String())
	}
	return fmt.Sprintf("%q can be read as %s", e.Text, strings.Join(days, " or as "))
}

// dateForm is one way of writing a date; the texts are those of its groups.
type dateForm struct {
	pattern *regexp.Regexp
	days    func(parts []string, order DateOrder) []Date // what it may mean
}

// dateForms are all of them. A date that begins with four digits begins with the
// year, one with points or a month's name has the day before the month or the name;
// with slashes or hyphens usage differs by country.
var dateForms = []dateForm{
	{regexp.MustCompile(`^(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})\.?`), func(p []string, _ DateOrder) []Date { return days(p[0], p[1], p[2]) }},
	{regexp.MustCompile(`^(\d{1,2})\. ?(\d{1,2})\. ?(\d{4}|\d{2})\b`), func(p []string, _ DateOrder) []Date { return days(p[2], p[1], p[0]) }},
	{regexp.MustCompile(`^(\d{1,2})[/-](\d{1,2})[/-](\d{4}|\d{2})\b`), slashed},
	{regexp.MustCompile(`^(\d{1,2})[ ./-]{1,2}(\pL{3,9})[ ./-]{1,2}(\d{4}|\d{2})\b`), func(p []string, _ DateOrder) []Date { return days(p[2], monthOf(p[1]), p[0]) }},
	{regexp.MustCompile(`^(\pL{3,9})\.? (\d{1,2}),? (\d{4})\b`), func(p []string, _ DateOrder) []Date { return days(p[2], monthOf(p[0]), p[1]) }},
}

// slashed is what three numbers may mean: with a year of two digits that may also
// come first.
func slashed(p []string, order DateOrder) []Date {
	switch order {
	case DayFirst:
		return days(p[2], p[1], p[0])
	case MonthFirst:
		return days(p[2], p[0], p[1])
	}
	all := append(days(p[2], p[1], p[0]), days(p[2], p[0], p[1])...)
	if len(p[2]) == 2 && len(p[0]) == 2 {
		all = append(all, days(p[0], p[1], p[2])...)
	}
	return all
}

// days is the day of the calendar, if there is one.
func days(year, month, day string) []Date {
	y, _ := strconv.Atoi(year) // digits, or no month's name
	m, _ := strconv.Atoi(month)
	d, _ := strconv.Atoi(day)
	if len(year) == 2 {
		y += 2000
	}
	date := Date{y, time.Month(m), d}
	if m < 1 || DateOf(date.utc()) != date {
		return nil
	}
	return []Date{date}
}

// monthOf is the number of a month by its English name or the first three letters
// of it, as spreadsheets write it; "" for none.
func monthOf(name string) string {
	for m := time.January; m <= time.December; m++ {
		if strings.EqualFold(name, m.String()) || strings.EqualFold(name, m.String()[:3]) {
			return strconv.Itoa(int(m))
		}
	}
	return ""
}

var (
	behindDate = regexp.MustCompile(`^(?:[Tt]|,? +)(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?(?: ?([AaPp])\.?[Mm]\.?)?$`)
	zonedForms = []string{time.RFC3339, "2006-01-02 15:04:05Z07:00"}
)

// ReadWritten reads a date, with a time of day or without. Errors: ErrNoDate,
// *TwoWaysError.
func ReadWritten(s string, order DateOrder) (Written, error) {
	s = strings.TrimSpace(s)
	for _, form := range zonedForms {
		if t, err := time.Parse(form, strings.ToUpper(s)); err == nil { // RFC 3339, 5.6: T and Z may be written small
			return Written{t, true, true}, nil
		}
	}
	for _, form := range dateForms {
		parts := form.pattern.FindStringSubmatch(s)
		if parts == nil {
			continue
		}
		clock, timed, ok := timeBehind(s[len(parts[0]):])
		if !ok {
			continue
		}
		all := form.days(parts[1:], order)
		slices.SortFunc(all, func(a, b Date) int { return a.utc().Compare(b.utc()) })
		switch all = slices.Compact(all); len(all) {
		case 0:
			return Written{}, ErrNoDate
		case 1:
			return Written{all[0].utc().Add(clock), false, timed}, nil
		}
		return Written{}, &TwoWaysError{s, all}
	}
	return Written{}, ErrNoDate
}

// timeBehind reads the time of day that stands behind a date, if any does.
func timeBehind(s string) (clock time.Duration, timed, ok bool) {
	if s == "" {
		return 0, false, true
	}
	p := behindDate.FindStringSubmatch(s)
	if p == nil {
		return 0, false, false
	}
	h, _ := strconv.Atoi(p[1]) // two digits at most
	m, _ := strconv.Atoi(p[2])
	sec, _ := strconv.Atoi(p[3]) // "" is 0
	ns, _ := strconv.Atoi((p[4] + "000000000")[:9])
	switch half := strings.ToLower(p[5]); {
	case half != "" && (h < 1 || h > 12):
		return 0, false, false
	case half == "p":
		h = h%12 + 12
	case half == "a":
		h %= 12
	}
	if h > 23 || m > 59 || sec > 59 {
		return 0, false, false
	}
	return time.Duration(h)*time.Hour + time.Duration(m)*time.Minute + time.Duration(sec)*time.Second + time.Duration(ns), true, true
}

// Plain writes a duration as trial.toml has them, without parts that are 0: 15m, 1h.
func Plain(d time.Duration) string {
	text := d.String()
	for _, zero := range []string{"m0s", "h0m"} {
		if strings.HasSuffix(text, zero) {
			text = text[:len(text)-2]
		}
	}
	return text
}
