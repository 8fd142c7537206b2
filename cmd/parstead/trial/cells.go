package trial

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"parstead/cmd/parstead/cells"
	"parstead/light"
)

// Every reader of a cell tells what is wrong with it, and ok is false if the
// cell is blank or wrong.

// point is the cell's text with a decimal comma, where one may stand, turned
// into a point.
func (c cell) point() string {
	if c.sheet.decimalComma && cells.IsCommaNumber(c.text) {
		return strings.Replace(c.text, ",", ".", 1)
	}
	return c.text
}

// number reads a finite number.
func (l *loader) number(c cell, what string) (x float64, ok bool) {
	if c.blank() {
		return 0, false
	}
	text := c.point()
	if cells.IsCommaNumber(text) {
		mend := "write " + strings.Replace(text, ",", ".", 1)
		if !c.sheet.workbook {
			mend += ", or separate the cells by semicolons or tabs"
		}
		l.fault(c.at, fmt.Sprintf("%s %q has a decimal comma", what, c.text), mend)
		return 0, false
	}
	x, err := strconv.ParseFloat(text, 64)
	switch {
	case c.turn == cells.Date:
		l.fault(c.at, fmt.Sprintf("%s: a spreadsheet has turned the number into the date %s", what, c.text), "format the column as numbers and type the number again")
	case !cells.IsNumber(text):
		l.fault(c.at, fmt.Sprintf("%s %q is not a number", what, c.text), "write digits, as in 12.5, or leave the cell blank")
	case err != nil || math.IsInf(x, 0):
		l.fault(c.at, fmt.Sprintf("%s %q is too large", what, c.text), "correct the number")
	default:
		return x, true
	}
	return 0, false
}

// whole reads a whole number.
func (l *loader) whole(c cell, what string) (n int, ok bool) {
	x, ok := l.number(c, what)
	if !ok {
		return 0, false
	}
	if x != math.Trunc(x) || math.Abs(x) > 1e9 {
		l.fault(c.at, fmt.Sprintf("%s %q is not a whole number", what, c.text), "write a whole number")
		return 0, false
	}
	return int(x), true
}

// date reads a day of the calendar, also as a spreadsheet rewrote it, where that can
// mean one day only.
func (l *loader) date(c cell, what string) (d light.Date, ok bool) {
	if c.blank() {
		return d, false
	}
	w, err := light.ReadWritten(c.text, light.EitherOrder)
	if _, twoWays := errors.AsType[*light.TwoWaysError](err); twoWays {
		l.fault(c.at, fmt.Sprintf("%s %s", what, err), "write it like 2026-07-21; "+spreadsheetsRemedy)
		return light.Date{}, false
	}
	if err == nil {
		d, err = sensibleDate(light.DateOf(w.At))
	}
	if err != nil || w.Zoned || w.Timed && light.TimeOfDay(0).On(d, time.UTC) != w.At {
		l.fault(c.at, fmt.Sprintf("%s %q is no date of the calendar", what, c.text), "write it like 2026-07-21")
		return light.Date{}, false
	}
	return d, true
}

// yesNo reads a cell that says yes or no.
func (l *loader) yesNo(c cell, what string) (yes, ok bool) {
	switch strings.ToLower(c.text) {
	case "":
		return false, false
	case "yes", "y", "1", "true":
		return true, true
	case "no", "n", "0", "false":
		return false, true
	}
	l.fault(c.at, fmt.Sprintf("%s %q is neither yes nor no", what, c.text), "write yes or no")
	return false, false
}

// position reads the bin, row and column of a line of a sheet.
func (l *loader) position(r row) (p light.Position, ok bool) {
	ok = true
	for _, heading := range []string{"bin", "row", "column"} {
		if c := r.cell(heading); c.blank() {
			l.fault(c.at, fmt.Sprintf("%s is blank", heading), "write the bin, row and column")
			ok = false
		}
	}
	if !ok {
		return p, false
	}
	bin, found := l.Rack.Bin(r.cell("bin").text)
	if !found {
		mend := meant(r.cell("bin").text, binNames(l.Rack.Bins), "write %q, or add the bin to trial.toml", "write one of: "+strings.Join(binNames(l.Rack.Bins), ", "))
		l.fault(r.cell("bin").at, fmt.Sprintf("there is no bin %q", r.cell("bin").text), mend)
		ok = false
	}
	p.Bin = bin.Name
	check := func(heading string, most int) int {
		c := r.cell(heading)
		n, good := l.whole(c, heading)
		if good && bin.Rows > 0 && (n < 1 || n > most) {
			l.fault(c.at, fmt.Sprintf("%s %d is off the grid: the bin %q has %d %ss", heading, n, bin.Name, most, heading), fmt.Sprintf("write a %s from 1 to %d", heading, most))
			good = false
		}
		ok = ok && good
		return n
	}
	p.Row = check("row", bin.Rows)
	p.Column = check("column", bin.Columns)
	return p, ok && bin.Rows > 0
}
