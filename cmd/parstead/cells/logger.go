package cells

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
)

// Logger is the file of a logger, row by row; its errors name the file and the place.
type Logger interface {
	// Read gives the next row, io.EOF behind the last one. The cells hold until the
	// next Read.
	Read() ([]string, error)
	// Place is the line and the column of a cell of that row.
	Place(cell int) (line, column int)
	// DecimalComma tells whether a comma may stand for a number's point.
	DecimalComma() bool
}

// OpenLogger reads a logger's file, a text or a workbook, without so many lines of
// title before its headings.
func OpenLogger(name string, r io.Reader, skip int) (Logger, error) {
	buffered := bufio.NewReaderSize(r, 1<<12)
	if start, err := buffered.Peek(4); err == nil && string(start) == "PK\x03\x04" { // a package as ECMA-376 part 2 has it
		return openLoggerBook(name, buffered, skip)
	}
	rows, err := NewReader(buffered, 1024, skip)
	switch {
	case errors.Is(err, ErrWide), errors.Is(err, ErrBinary):
		err = fmt.Errorf("%s is no text in UTF-8 and no workbook: name a logger's file of separated values, saved as UTF-8, or an .xlsx", name)
	case err != nil:
		err = fmt.Errorf("read %s: %w", name, err)
	}
	return loggerText{rows, name}, err
}

// loggerText is a logger's file of separated values.
type loggerText struct {
	*Reader
	name string
}

func (f loggerText) Read() ([]string, error) {
	row, err := f.Reader.Read()
	if err == nil || errors.Is(err, io.EOF) {
		return row, err
	}
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		return nil, fmt.Errorf("%s, line %d, column %d: %w: a quote within a cell is written twice, and the cell in quotes", f.name, p.Line, p.Column, p.Err)
	}
	if fault, ok := errors.AsType[*Fault](err); ok {
		return nil, fmt.Errorf("%s, line %d: %s: %s", f.name, fault.Line, fault.Says, fault.Mend)
	}
	return nil, fmt.Errorf("read %s: %w", f.name, err)
}

// loggerBook is the first sheet of a logger's workbook.
type loggerBook struct {
	name string
	rows [][]Cell
	next int
	line []string
}

func openLoggerBook(name string, r io.Reader, skip int) (Logger, error) {
	data, err := io.ReadAll(io.LimitReader(r, MostBytes+1))
	if err != nil {
		return nil, fmt.Errorf("read %s: %w", name, err)
	}
	fault := TooLarge(int64(len(data)))
	b := &loggerBook{name: name, next: skip}
	if fault == nil {
		if b.rows, err = readBook(data); err == nil {
			return b, nil
		}
		var ok bool
		if fault, ok = errors.AsType[*Fault](err); !ok {
			return nil, fmt.Errorf("read %s: %w", name, err)
		}
	}
	return nil, fmt.Errorf("%s, line %d: %s: %s", name, fault.Line, fault.Says, fault.Mend)
}

// Read gives the next row that is not all blank.
func (b *loggerBook) Read() ([]string, error) {
	for b.next < len(b.rows) {
		row := b.rows[b.next]
		b.next++
		b.line = b.line[:0]
		for i, c := range row {
			if c.Unknown {
				return nil, fmt.Errorf("%s, line %d, column %d: the formula has no stored value: save the workbook again from a spreadsheet program", b.name, c.Line, i+1)
			}
			b.line = append(b.line, c.Text)
		}
		if len(b.line) > 0 {
			return b.line, nil
		}
	}
	return nil, io.EOF
}

// Place counts a workbook's lines and cells.
func (b *loggerBook) Place(cell int) (line, column int) { return b.next, cell + 1 }

// DecimalComma is so: no comma separates a workbook's cells.
func (b *loggerBook) DecimalComma() bool { return true }

// Headings reads the first row ahead: rows gives it once more.
func Headings(rows Logger) (headings []string, again Logger, err error) {
	first, err := rows.Read()
	if errors.Is(err, io.EOF) {
		return nil, rows, nil
	}
	if err != nil {
		return nil, rows, err
	}
	line, _ := rows.Place(0)
	headings = slices.Clone(first)
	places := make([]int, len(first))
	for i := range places {
		_, places[i] = rows.Place(i)
	}
	return headings, &rereading{Logger: rows, first: headings, line: line, columns: places}, nil
}

// rereading gives the first row once more.
type rereading struct {
	Logger
	first   []string
	line    int
	columns []int
	reads   int
}

func (r *rereading) Read() ([]string, error) {
	if r.reads++; r.reads == 1 {
		return r.first, nil
	}
	return r.Logger.Read()
}

func (r *rereading) Place(cell int) (line, column int) {
	if r.reads == 1 {
		return r.line, r.columns[cell]
	}
	return r.Logger.Place(cell)
}
