package trial

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"parstead/cmd/parstead/cells"
	"parstead/light"
)

var errKind = errors.New("another kind of value is due")

// get reads a key by its conversion. ok is false if the key is absent or its
// value was faulted.
func get[T any](t *table, key, due, example string, convert func(any) (T, error)) (value T, ok bool) {
	t.known = append(t.known, key)
	raw, present := t.values[key]
	if !present {
		return value, false
	}
	value, err := convert(raw)
	if err == nil {
		return value, true
	}
	if errors.Is(err, errKind) {
		err = fmt.Errorf("it is %s, where %s is due", kindOf(raw), due)
	}
	says, _ := cutMend(err, "")
	if s, isText := raw.(string); isText { // a value that is in quotes, or not as TOML has it
		if fixed := unquoted(s); fixed != "" {
			if _, err := convert(parsed(fixed)); err == nil {
				example = fixed
			}
		}
	}
	t.fault(key, key+": "+says, fmt.Sprintf("write it like %s = %s", key, example))
	var none T
	return none, false
}

// unquoted is what a quoted value was meant to be: a number, a date, true or false;
// "" where it is a text.
func unquoted(s string) string {
	s = strings.TrimSpace(s)
	if cells.IsNumber(s) {
		return s
	}
	for _, of := range valueSlips[:2] {
		if fixed, says, _ := of(s); says != "" {
			return fixed
		}
	}
	return spokenFlags[s]
}

// parsed is a TOML value; nil for what is none.
func parsed(value string) any {
	var doc struct{ V any }
	if err := toml.Unmarshal([]byte("V = "+value), &doc); err != nil {
		return nil
	}
	return doc.V
}

// text reads a text that is not blank, trimmed.
func (t *table) text(key, example string) (string, bool) {
	return get(t, key, "a text", `"`+example+`"`, asText)
}

// oneOf reads a text out of a few.
func (t *table) oneOf(key string, choices ...string) (string, bool) {
	s, ok := t.text(key, choices[0])
	if !ok || slices.Contains(choices, s) {
		return s, ok
	}
	mend := "use one of " + strings.Join(choices, ", ")
	mend = meant(s, choices, "write %q; "+mend, mend)
	t.fault(key, fmt.Sprintf("%s can't be %q", key, s), mend)
	return "", false
}

// texts reads one text or a list of them.
func (t *table) texts(key, example string) ([]string, bool) {
	return get(t, key, "a text or a list of texts", example, listOf(asText))
}

// number reads a finite number between two bounds, which may be infinite.
func (t *table) number(key, example string, low, high float64) (float64, bool) {
	x, ok := get(t, key, "a number", example, asNumber)
	if ok && (x < low || x > high) {
		t.fault(key, fmt.Sprintf("%s can't be %v", key, x), "give a number "+bounds(low, high))
		return 0, false
	}
	return x, ok
}

// positive reads a number above zero.
func (t *table) positive(key, example string) (float64, bool) {
	x, ok := get(t, key, "a number", example, asNumber)
	if ok && x <= 0 {
		t.fault(key, fmt.Sprintf("%s can't be %v", key, x), "give a number above 0")
		return 0, false
	}
	return x, ok
}

// whole reads a whole number between two bounds.
func (t *table) whole(key, example string, low, high int) (int, bool) {
	n, ok := get(t, key, "a whole number", example, func(v any) (int64, error) {
		if n, ok := v.(int64); ok {
			return n, nil
		}
		return 0, errKind
	})
	if ok && (n < int64(low) || n > int64(high)) {
		t.fault(key, fmt.Sprintf("%s can't be %d", key, n), "give a whole number "+bounds(float64(low), float64(high)))
		return 0, false
	}
	return int(n), ok
}

func bounds(low, high float64) string {
	switch {
	case math.IsInf(high, 1):
		return fmt.Sprintf("from %v on", low)
	case math.IsInf(low, -1):
		return fmt.Sprintf("up to %v", high)
	default:
		return fmt.Sprintf("from %v to %v", low, high)
	}
}

// pair reads two numbers.
func (t *table) pair(key, example string) (pair [2]float64, ok bool) {
	numbers, ok := get(t, key, "a list of two numbers", example, listOf(asNumber))
	if !ok {
		return pair, false
	}
	if len(numbers) != 2 {
		if len(numbers) == 4 { // two with a comma each, of which the tails are whole
			example = fmt.Sprintf("[%v.%v, %v.%v]: decimals have a point", numbers[0], numbers[1], numbers[2], numbers[3])
		}
		t.fault(key, fmt.Sprintf("%s holds %d numbers, where two are due", key, len(numbers)), fmt.Sprintf("write it like %s = %s", key, example))
		return pair, false
	}
	return [2]float64(numbers), true
}

// limits reads a pair of which the first is the lower.
func (t *table) limits(key, example string) (pair [2]float64, ok bool) {
	pair, ok = t.pair(key, example)
	if ok && pair[0] >= pair[1] {
		t.fault(key, fmt.Sprintf("%s: %v is not below %v", key, pair[0], pair[1]), "write the lower limit first")
		return pair, false
	}
	return pair, ok
}

// flag reads true or false.
func (t *table) flag(key string) bool {
	b, _ := get(t, key, "true or false", "true", func(v any) (bool, error) {
		if b, ok := v.(bool); ok {
			return b, nil
		}
		return false, errKind
	})
	return b
}

// date reads a day of the calendar.
func (t *table) date(key, example string) (light.Date, bool) {
	return get(t, key, "a date", example, func(v any) (light.Date, error) {
		switch v := v.(type) {
		case toml.LocalDate:
			return sensibleDate(light.Date{Year: v.Year, Month: time.Month(v.Month), Day: v.Day})
		case string:
			d, err := light.ParseDate(v)
			if err != nil {
				return d, err
			}
			return sensibleDate(d)
		}
		return light.Date{}, errKind
	})
}

// sensibleDate refuses years that no trial has and no clock can count in.
func sensibleDate(d light.Date) (light.Date, error) {
	if d.Year < 1970 || d.Year > 2200 {
		return d, fmt.Errorf("the year %d can't be meant", d.Year)
	}
	return d, nil
}

// clock reads a time of day; clocks one or a list of them.
func (t *table) clock(key, example string) (light.TimeOfDay, bool) {
	return get(t, key, "a time of day", `"`+example+`"`, asClock)
}

func (t *table) clocks(key, example string) ([]light.TimeOfDay, bool) {
	return get(t, key, "a time of day or a list of them", example, listOf(asClock))
}

// duration reads a length of time above zero.
func (t *table) duration(key, example string) (time.Duration, bool) {
	d, ok := get(t, key, "a text such as 60s or 10m", `"`+example+`"`, func(v any) (time.Duration, error) {
		s, ok := v.(string)
		if !ok {
			return 0, errKind
		}
		d, err := time.ParseDuration(strings.TrimSpace(s))
		if err != nil {
			return 0, fmt.Errorf("%q is not a length of time", s)
		}
		return d, nil
	})
	if ok && d <= 0 {
		t.fault(key, fmt.Sprintf("%s can't be %v", key, d), "give a length of time above 0")
		return 0, false
	}
	return d, ok
}

// instant reads a local time of the zone, or one with an offset of its own. A
// date alone is its first instant.
func (t *table) instant(key, example string, zone *time.Location) (time.Time, bool) {
	return get(t, key, "a time", example, func(v any) (time.Time, error) {
		switch v := v.(type) {
		case time.Time:
			return sensibleTime(v)
		case toml.LocalDateTime:
			return (&Clock{Zone: zone}).local(v.AsTime(time.UTC))
		case toml.LocalDate:
			d, err := sensibleDate(light.Date{Year: v.Year, Month: time.Month(v.Month), Day: v.Day})
			return light.TimeOfDay(0).On(d, zone), err
		case string:
			return (&Clock{Zone: zone}).Parse(v)
		}
		return time.Time{}, errKind
	})
}

// span reads from and until.
func (t *table) span(zone *time.Location) light.Span {
	var s light.Span
	s.From, _ = t.instant("from", "2026-03-02T07:00:00", zone)
	s.Until, _ = t.instant("until", "2026-03-02T07:00:00", zone)
	if !s.From.IsZero() && !s.Until.IsZero() && !s.From.Before(s.Until) {
		t.fault("until", "until is not after from", "exchange the two, or correct one")
		s.Until = time.Time{}
	}
	return s
}

func asText(v any) (string, error) {
	s, ok := v.(string)
	if !ok {
		return "", errKind
	}
	s = strings.TrimSpace(s)
	switch {
	case s == "":
		return "", errors.New("the text is blank")
	case strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == 0x7f }):
		return "", fmt.Errorf("%q holds a control character", s)
	}
	return s, nil
}

func asNumber(v any) (float64, error) {
	switch v := v.(type) {
	case int64:
		return float64(v), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return 0, errors.New("the number is not finite")
		}
		return v, nil
	}
	return 0, errKind
}

func asClock(v any) (light.TimeOfDay, error) {
	switch v := v.(type) {
	case string:
		return light.ParseTimeOfDay(strings.TrimSpace(v))
	case toml.LocalTime:
		return light.TimeOfDay(time.Duration(v.Hour)*time.Hour +
			time.Duration(v.Minute)*time.Minute + time.Duration(v.Second)*time.Second), nil
	}
	return 0, errKind
}

// listOf converts a list of values, or one value to a list of itself.
func listOf[T any](convert func(any) (T, error)) func(any) ([]T, error) {
	return func(v any) ([]T, error) {
		elements, ok := v.([]any)
		if !ok {
			elements = []any{v}
		}
		if len(elements) == 0 {
			return nil, errors.New("the list is empty")
		}
		list := make([]T, len(elements))
		for i, e := range elements {
			var err error
			if list[i], err = convert(e); err != nil {
				if errors.Is(err, errKind) && ok {
					return nil, fmt.Errorf("the list holds %s", kindOf(e))
				}
				return nil, err
			}
		}
		return list, nil
	}
}

func kindOf(v any) string {
	switch v.(type) {
	case string:
		return "a text"
	case bool:
		return "true or false"
	case int64, float64:
		return "a number"
	case toml.LocalDate:
		return "a date"
	case toml.LocalTime:
		return "a time of day"
	case toml.LocalDateTime, time.Time:
		return "a date and time"
	case []any:
		return "a list"
	case map[string]any:
		return "a table"
	default:
		return "something else"
	}
}
