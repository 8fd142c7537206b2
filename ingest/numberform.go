package ingest

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"strings"
)

// NumberForm is how a payload writes a number as text beyond a plain one such as
// 23.4: what stands behind it, and its decimal mark. The zero form is the plain one.
type NumberForm struct {
	Suffix  string // behind the number, with or without a blank between; "" for nothing
	Decimal string // the decimal mark; "" for a point
}

// DecimalMarks are those that a number may have, the first where none is said.
var DecimalMarks = []string{".", ","}

var (
	errOtherUnit = errors.New("a number with something behind it that is not the sensor's suffix")
	errOtherMark = errors.New("a number with another decimal mark than the sensor's")
)

// plain takes off what makes a text more than a plain number. A number may come
// without the suffix, but not with another one: of "8 klx" the 8 would be read as
// 8 lx.
func (f NumberForm) plain(s string) string {
	if f.Suffix != "" {
		s = strings.TrimSpace(strings.TrimSuffix(s, f.Suffix))
	}
	if f.Decimal == "," {
		s = strings.NewReplacer(",", ".", ".", ",").Replace(s) // a point is no decimal mark then
	}
	return s
}

// written matches a number with a decimal mark of either kind and what may be a
// unit behind it.
var written = regexp.MustCompile(`^[+-]?\d+(?:([.,])\d+)?(?:[eE][+-]?\d+)?\s*([\p{L}%°][^:;,]{0,23})?$`)

// formOf tells in what form a stranger's text may be a number.
func formOf(s string) (f NumberForm, ok bool) {
	parts := written.FindStringSubmatch(strings.TrimSpace(s))
	if parts == nil {
		return f, false
	}
	if parts[1] == "," {
		f.Decimal = ","
	}
	f.Suffix = strings.TrimSpace(parts[2])
	return f, true
}

// Needs says what a sensor's block has to say for a number in this form; "" for a
// plain one.
func (f NumberForm) Needs() string {
	var keys []string
	if f.Suffix != "" {
		keys = append(keys, fmt.Sprintf("suffix = %q", f.Suffix))
	}
	if f.Decimal != "" {
		keys = append(keys, fmt.Sprintf("decimal_mark = %q", f.Decimal))
	}
	return strings.Join(keys, " and ")
}

// unlike says why a text that is a number in the form has is none in the form f.
func (f NumberForm) unlike(has NumberForm) error {
	switch {
	case cmp.Or(has.Decimal, ".") != cmp.Or(f.Decimal, "."):
		return errOtherMark
	case has.Suffix != f.Suffix:
		return errOtherUnit
	}
	return errNoNumber
}
