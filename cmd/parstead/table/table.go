// Package table reads one flat table of plants, text (comma, semicolon or tab)
// or a spreadsheet's first sheet, a column at a time as text or as numbers.
package table

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"parstead/cmd/parstead/cells"
)

// Table is the columns that were asked for. Cells are trimmed; rows without
// any cell are left out.
type Table struct {
	file         string
	names        []string // as the file spells them
	heads        []string // of all columns
	cells        [][]string
	lines        []int
	decimalComma bool // a comma may stand for the decimal point
}

// Read reads the named columns of a file, matched without regard to case and
// surrounding blanks. Errors name the file, the line and the column.
func Read(path string, columns []string) (*Table, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s is not there: name a table of separated values, or an .xlsx", path)
	}
	if err != nil {
		return nil, fmt.Errorf("read the table: %w; make it readable", err)
	}
	defer f.Close() //nolint:errcheck // it was only read
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return nil, fmt.Errorf("%s is a folder: name the table in it", path)
	}
	if strings.EqualFold(filepath.Ext(path), ".xlsx") {
		return readBook(f, filepath.Base(path), columns)
	}
	return readText(f, filepath.Base(path), columns)
}

// firstBytes is how many of a text are looked at to tell what it is.
const firstBytes = 1 << 16

// readText reads separated values.
func readText(r io.Reader, file string, columns []string) (*Table, error) {
	rows, err := cells.NewReader(r, firstBytes, 0)
	switch {
	case errors.Is(err, cells.ErrWide):
		return nil, fmt.Errorf("%s is written in UTF-16: save it as CSV in UTF-8", file)
	case errors.Is(err, cells.ErrBinary):
		return nil, fmt.Errorf("%s is no text: name a table of separated values, or an .xlsx", file)
	case err != nil:
		return nil, fmt.Errorf("read %s: %w", file, err)
	}
	t := &Table{file: file, decimalComma: rows.DecimalComma()}
	var pick []int
	width := 0
	for {
		record, err := rows.Read()
		if errors.Is(err, io.EOF) {
			return t.done(pick)
		}
		if err != nil {
			return nil, t.broken(err)
		}
		line, _ := rows.Place(0)
		switch {
		case pick == nil:
			width = len(record)
			pick, err = t.header(record, columns)
		case len(record) != width:
			err = fmt.Errorf("%s, line %d: the row has more or fewer cells than the heading; a cell that holds the separator must stand in double quotes", file, line)
		default:
			err = t.add(record, pick, line)
		}
		if err != nil {
			return nil, err
		}
	}
}

// broken words what the reader of separated values found.
func (t *Table) broken(err error) error {
	at, ok := errors.AsType[*csv.ParseError](err)
	fault, far := errors.AsType[*cells.Fault](err)
	switch {
	case far:
		return faulty(t.file, fault)
	case !ok:
		return fmt.Errorf("read %s: %w", t.file, err)
	case at.StartLine < at.Line:
		return fmt.Errorf("%s, line %d: a double quote opens a cell that nothing closes; close it with another, or remove it", t.file, at.StartLine)
	}
	return fmt.Errorf("%s, line %d: a double quote stands inside a cell; double it and put the cell in double quotes", t.file, at.Line)
}

// readBook reads a spreadsheet's first sheet.
func readBook(r io.Reader, file string, columns []string) (*Table, error) {
	data, err := io.ReadAll(io.LimitReader(r, cells.MostBytes+1)) // one more than is taken
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", file, err)
	}
	sheet, err := cells.Read(file, data)
	if fault, ok := errors.AsType[*cells.Fault](err); ok {
		return nil, faulty(file, fault)
	}
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", file, err)
	}
	t := &Table{file: file}
	var pick []int
	for i, row := range sheet.Rows {
		record := make([]string, len(row))
		for j, c := range row {
			record[j] = c.Text
		}
		if pick == nil {
			if len(record) == 0 {
				continue
			}
			if pick, err = t.header(record, columns); err != nil {
				return nil, err
			}
			continue
		}
		for k, j := range pick {
			if j < len(row) && row[j].Unknown {
				return nil, fmt.Errorf("%s, line %d, column %q: the cell is a formula whose value the file doesn't hold: save it from a spreadsheet program, or type the value", file, i+1, t.names[k])
			}
		}
		if err := t.add(record, pick, i+1); err != nil {
			return nil, err
		}
	}
	return t.done(pick)
}

// faulty words why a file of cells can't be read.
func faulty(file string, fault *cells.Fault) error {
	where := ""
	if fault.Line > 1 || fault.Column > 1 {
		where = fmt.Sprintf(", line %d, column %d", fault.Line, fault.Column)
	}
	return fmt.Errorf("read %s%s: %s: %s", file, where, fault.Says, fault.Mend)
}

// header finds the columns that are wanted.
func (t *Table) header(record, columns []string) ([]int, error) {
	heads := make([]string, len(record))
	for i, h := range record {
		heads[i] = strings.TrimSpace(h)
	}
	t.heads = heads
	pick := make([]int, 0, len(columns))
	for _, want := range columns {
		found := -1
		for i, h := range heads {
			if !strings.EqualFold(h, strings.TrimSpace(want)) {
				continue
			}
			if found >= 0 {
				return nil, fmt.Errorf("%s has two columns named %q: rename one", t.file, h)
			}
			found = i
		}
		if found < 0 {
			return nil, fmt.Errorf("%s has no column %q: it has %s", t.file, want, list(heads))
		}
		pick = append(pick, found)
		t.names = append(t.names, strings.TrimSpace(want))
	}
	t.cells = make([][]string, len(pick))
	return pick, nil
}

// list words the headings, cut short where there are many.
func list(heads []string) string {
	const shown = 12
	quoted := make([]string, 0, shown)
	for _, h := range heads[:min(len(heads), shown)] {
		quoted = append(quoted, strconv.Quote(h))
	}
	if len(heads) > shown {
		quoted = append(quoted, fmt.Sprintf("and %d more", len(heads)-shown))
	}
	return strings.Join(quoted, ", ")
}

func (t *Table) add(record []string, pick []int, line int) error {
	if !slices.ContainsFunc(record, func(c string) bool { return strings.TrimSpace(c) != "" }) {
		return nil
	}
	t.lines = append(t.lines, line)
	for j, i := range pick {
		cell := ""
		if i < len(record) {
			cell = strings.TrimSpace(record[i])
		}
		if !utf8.ValidString(cell) {
			return fmt.Errorf("%s, line %d, column %q: the cell is not UTF-8; save the file as CSV in UTF-8", t.file, line, t.names[j])
		}
		t.cells[j] = append(t.cells[j], strings.Clone(cell))
	}
	return nil
}

func (t *Table) done(pick []int) (*Table, error) {
	if pick == nil {
		return nil, fmt.Errorf("%s is empty: the first line must name the columns", t.file)
	}
	if len(t.lines) == 0 {
		return nil, fmt.Errorf("%s has a heading but no rows", t.file)
	}
	return t, nil
}

// Has tells whether the file has a column of this name, asked for or not.
func (t *Table) Has(name string) bool {
	return slices.ContainsFunc(t.heads, func(h string) bool { return strings.EqualFold(h, name) })
}

// Len is the number of rows.
func (t *Table) Len() int { return len(t.lines) }

// Line is the line of the file that row i stands on.
func (t *Table) Line(i int) int { return t.lines[i] }

// Text is a column's cells, "" where blank. It panics on a column that was not
// asked for.
func (t *Table) Text(name string) []string {
	i := slices.Index(t.names, strings.TrimSpace(name))
	if i < 0 {
		panic(fmt.Sprintf("table: column %q was not read", name))
	}
	return t.cells[i]
}

// Numbers is a column as numbers, NaN where blank.
func (t *Table) Numbers(name string) ([]float64, error) {
	cells := t.Text(name)
	values := make([]float64, len(cells))
	for i, c := range cells {
		if c == "" {
			values[i] = math.NaN()
			continue
		}
		v, err := t.number(c)
		if err != nil {
			return nil, t.Fault(i, name, err.Error())
		}
		values[i] = v
	}
	return values, nil
}

// Fault is an error about the cell in row i of a column.
func (t *Table) Fault(i int, name, says string) error {
	return fmt.Errorf("%s, line %d, column %q: %s", t.file, t.lines[i], strings.TrimSpace(name), says)
}

// number reads a finite decimal number.
func (t *Table) number(cell string) (float64, error) {
	text := cell
	if strings.Count(cell, ",") == 1 && !strings.Contains(cell, ".") {
		if !t.decimalComma {
			return 0, fmt.Errorf("%q has a decimal comma: separate the columns by semicolons or tabs, or write a point", cell)
		}
		text = strings.Replace(cell, ",", ".", 1)
	}
	if strings.Trim(text, "0123456789.+-eE") == "" {
		v, err := strconv.ParseFloat(text, 64)
		if err == nil {
			return v, nil
		}
		if errors.Is(err, strconv.ErrRange) {
			return 0, fmt.Errorf("%q is too large for a number: mend the cell, or give the column in another unit", cell)
		}
	}
	return 0, fmt.Errorf("%q is not a number: leave the cell blank where the value is missing", cell)
}

// YesNo is a column of yes/no, y/n, 1/0 or true/false, in any case, as 1 and 0;
// NaN where blank.
func (t *Table) YesNo(name string) ([]float64, error) {
	cells := t.Text(name)
	values := make([]float64, len(cells))
	for i, c := range cells {
		switch strings.ToLower(c) {
		case "":
			values[i] = math.NaN()
		case "yes", "y", "1", "true":
			values[i] = 1
		case "no", "n", "0", "false":
			values[i] = 0
		default:
			if v, err := t.number(c); err == nil && (v == 0 || v == 1) { // 1e+00
				values[i] = v
				continue
			}
			return nil, t.Fault(i, name, fmt.Sprintf("%q is neither yes nor no: write yes or no", c))
		}
	}
	return values, nil
}
