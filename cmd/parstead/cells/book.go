package cells

import (
	"bytes"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"github.com/xuri/excelize/v2"
)

// Book is a workbook whose first sheet is changed; its other sheets, formats and
// names stay.
type Book struct {
	book  *excelize.File
	name  string
	lines []bookLine
}

// bookLine is a row of the sheet that is not all blank.
type bookLine struct {
	number int // from 1
	cells  []string
}

// ErrFormula says why a cell can't be written.
var ErrFormula = errors.New("a formula stands in the cell: replace it by its value first")

// mostUnpacked bounds what all parts of a workbook that is changed unpack to.
const mostUnpacked = 3 * MostBytes

// openBook opens a workbook to change it. Close it. The error wraps a *Fault.
func openBook(data []byte) (*Book, error) {
	rows, w, err := readSheet(data)
	if err != nil {
		return nil, err
	}
	if w.laid > mostCells {
		return nil, tooMany(len(rows), 1)
	}
	book, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: mostUnpacked, UnzipXMLSizeLimit: MostBytes})
	if err != nil {
		return nil, noWorkbook{err}
	}
	b := &Book{book: book, name: book.GetSheetName(0)}
	for i, row := range rows {
		line, blank := bookLine{number: i + 1}, true
		for _, c := range row {
			line.cells = append(line.cells, c.Text)
			blank = blank && c.Text == ""
		}
		if !blank {
			b.lines = append(b.lines, line)
		}
	}
	return b, nil
}

// Close frees what the workbook holds.
func (b *Book) Close() error { return b.book.Close() }

// Rows are the rows that are not all blank; they may differ in length.
func (b *Book) Rows() [][]string {
	rows := make([][]string, len(b.lines))
	for i, line := range b.lines {
		rows[i] = line.cells
	}
	return rows
}

// Set writes into a cell of one of the Rows; the column counts from 0.
func (b *Book) Set(row, column int, v Value) error {
	line := &b.lines[row]
	name, err := excelize.CoordinatesToCellName(column+1, line.number)
	if err != nil {
		return err
	}
	if formula, err := b.book.GetCellFormula(b.name, name); err != nil || formula != "" {
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
		return b.book.SetCellFloat(b.name, name, x, -1, 64)
	}
	return b.book.SetCellStr(b.name, name, v.Text)
}

// AddHeading writes a heading behind those of the first row.
func (b *Book) AddHeading(heading string) error {
	width := 0
	for _, line := range b.lines {
		width = max(width, len(line.cells))
	}
	return b.Set(0, width, Value{Text: heading})
}

// AddRow writes a row below the last one.
func (b *Book) AddRow(values []Value) error {
	b.lines = append(b.lines, bookLine{number: b.lines[len(b.lines)-1].number + 1})
	for i, v := range values {
		if v.Text == "" {
			continue
		}
		if err := b.Set(len(b.lines)-1, i, v); err != nil {
			return err
		}
	}
	return nil
}

// DropRow removes one of the Rows; those below it move up.
func (b *Book) DropRow(row int) error {
	if err := b.book.RemoveRow(b.name, b.lines[row].number); err != nil {
		return err
	}
	b.lines = slices.Delete(b.lines, row, row+1)
	for i := range b.lines[row:] {
		b.lines[row+i].number--
	}
	return nil
}

// Bytes is the workbook as a file.
func (b *Book) Bytes() ([]byte, error) {
	text, err := b.book.WriteToBuffer()
	if err != nil {
		return nil, fmt.Errorf("write the workbook: %w", err)
	}
	return text.Bytes(), nil
}
