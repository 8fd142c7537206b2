package workbook

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"github.com/xuri/excelize/v2"
)

// Value is what is written into a cell.
type Value struct {
	Text   string
	Number bool // the text is a number with a decimal point
}

// Edit is a workbook whose first sheet is changed; its other sheets, formats and
// names stay.
type Edit struct {
	book  *excelize.File
	name  string
	lines []editLine
}

// editLine is a row of the sheet that is not all blank.
type editLine struct {
	number int // from 1
	cells  []string
}

// ErrFormula says why a cell can't be written.
var ErrFormula = errors.New("a formula stands in the cell: replace it by its value first")

// Open opens a workbook to change it. Close it.
func Open(data []byte) (*Edit, error) {
	rows, err := Read(data)
	if err != nil {
		return nil, err
	}
	book, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: largest})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoWorkbook, err)
	}
	e := &Edit{book: book, name: book.GetSheetList()[0]}
	for i, row := range rows {
		line, blank := editLine{number: i + 1}, true
		for _, c := range row {
			line.cells = append(line.cells, c.Text)
			blank = blank && c.Text == ""
		}
		if !blank {
			e.lines = append(e.lines, line)
		}
	}
	return e, nil
}

// Close frees what the workbook holds.
func (e *Edit) Close() error { return e.book.Close() }

// Rows are the rows that are not all blank; they may differ in length.
func (e *Edit) Rows() [][]string {
	rows := make([][]string, len(e.lines))
	for i, line := range e.lines {
		rows[i] = line.cells
	}
	return rows
}

// Set writes into a cell of one of the Rows; the column counts from 0.
func (e *Edit) Set(row, column int, v Value) error {
	line := &e.lines[row]
	name, err := excelize.CoordinatesToCellName(column+1, line.number)
	if err != nil {
		return err
	}
	if formula, err := e.book.GetCellFormula(e.name, name); err != nil || formula != "" {
		return errors.Join(err, fmt.Errorf("cell %s: %w", name, ErrFormula))
	}
	for len(line.cells) <= column {
		line.cells = append(line.cells, "")
	}
	line.cells[column] = v.Text
	if v.Number {
		x, err := strconv.ParseFloat(v.Text, 64)
		if err != nil {
			return err
		}
		return e.book.SetCellFloat(e.name, name, x, -1, 64)
	}
	return e.book.SetCellStr(e.name, name, v.Text)
}

// AddHeading writes a heading behind those of the first row.
func (e *Edit) AddHeading(heading string) error {
	width := 0
	for _, line := range e.lines {
		width = max(width, len(line.cells))
	}
	return e.Set(0, width, Value{Text: heading})
}

// AddRow writes a row below the last one.
func (e *Edit) AddRow(values []Value) error {
	e.lines = append(e.lines, editLine{number: e.lines[len(e.lines)-1].number + 1})
	for i, v := range values {
		if v.Text == "" {
			continue
		}
		if err := e.Set(len(e.lines)-1, i, v); err != nil {
			return err
		}
	}
	return nil
}

// DropRow removes one of the Rows; those below it move up.
func (e *Edit) DropRow(row int) error {
	if err := e.book.RemoveRow(e.name, e.lines[row].number); err != nil {
		return err
	}
	e.lines = slices.Delete(e.lines, row, row+1)
	for i := range e.lines[row:] {
		e.lines[row+i].number--
	}
	return nil
}

// Bytes is the workbook as a file.
func (e *Edit) Bytes() ([]byte, error) {
	b, err := e.book.WriteToBuffer()
	if err != nil {
		return nil, fmt.Errorf("write the workbook: %w", err)
	}
	return b.Bytes(), nil
}
