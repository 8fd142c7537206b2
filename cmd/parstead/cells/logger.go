package cells

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
)

// LoggerFile is the file of a logger, row by row; its errors name the file and
// the place.
type LoggerFile struct {
	*Reader
	name string
}

// NewLoggerFile reads a logger's file.
func NewLoggerFile(name string, r io.Reader) (LoggerFile, error) {
	rows, err := NewReader(r, 1024)
	switch {
	case errors.Is(err, ErrWide), errors.Is(err, ErrBinary):
		err = fmt.Errorf("%s is no text in UTF-8: name a logger's file of separated values, saved as UTF-8", name)
	case err != nil:
		err = fmt.Errorf("read %s: %w", name, err)
	}
	return LoggerFile{rows, name}, err
}

// Read gives the next row, io.EOF behind the last one.
func (f LoggerFile) Read() ([]string, error) {
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
