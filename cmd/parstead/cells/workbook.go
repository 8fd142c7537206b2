package cells

import (
	"bytes"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// largest bounds what a compressed workbook may unfold to, in bytes.
const largest = 1 << 28

// ErrNoWorkbook is wrapped by the error of a file that is none.
var ErrNoWorkbook = errors.New("the file is no workbook that can be read")

// readBook gives the cells of the first sheet, row by row. Of blank cells at a
// row's end only formulas are kept.
func readBook(data []byte) ([][]Cell, error) {
	w, err := openFirst(data)
	if err != nil {
		return nil, err
	}
	defer func() { _ = w.Close() }() // only temporary files
	return w.rows()
}

// openFirst opens a workbook at its first sheet. Close it.
func openFirst(data []byte) (*sheet, error) {
	book, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: largest})
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrNoWorkbook, err)
	}
	if len(book.GetSheetList()) == 0 {
		return nil, errors.Join(fmt.Errorf("%w: it has no sheet", ErrNoWorkbook), book.Close())
	}
	w := &sheet{File: book, name: book.GetSheetList()[0], styles: map[int]Turn{}}
	if props, err := book.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		w.from1904 = *props.Date1904
	}
	return w, nil
}

func (w *sheet) rows() ([][]Cell, error) {
	texts, err := w.GetRows(w.name, excelize.Options{RawCellValue: true})
	if err != nil {
		return nil, fmt.Errorf("%w: its first sheet: %w", ErrNoWorkbook, err)
	}
	width := 0
	for _, row := range texts {
		width = max(width, len(row))
	}
	rows := make([][]Cell, len(texts))
	for i, row := range texts {
		for j := range width {
			raw := ""
			if j < len(row) {
				raw = row[j]
			}
			c := w.read(j+1, i+1, raw)
			if j < len(row) || c.Unknown {
				for len(rows[i]) < j {
					rows[i] = append(rows[i], Cell{Line: i + 1, Column: len(rows[i]) + 1})
				}
				c.Line, c.Column = i+1, j+1
				rows[i] = append(rows[i], c)
			}
		}
	}
	return rows, nil
}

// sheet is one sheet of a workbook.
type sheet struct {
	*excelize.File
	name     string
	from1904 bool
	styles   map[int]Turn // what a number format makes of a number
}

// read gives a cell's text as a .csv file would have it.
func (w *sheet) read(column, line int, raw string) Cell {
	plain := Cell{Text: strings.TrimSpace(raw)}
	name, err := excelize.CoordinatesToCellName(column, line)
	if err != nil {
		return plain
	}
	if raw == "" {
		formula, err := w.GetCellFormula(w.name, name)
		return Cell{Unknown: err == nil && formula != ""}
	}
	kind, err := w.GetCellType(w.name, name)
	if err != nil {
		return plain
	}
	switch kind {
	case excelize.CellTypeBool:
		if raw == "1" {
			return Cell{Text: "TRUE"}
		}
		return Cell{Text: "FALSE"}
	case excelize.CellTypeDate: // ISO 8601, as the strict form of the standard has it
		if t, err := time.Parse("2006-01-02T15:04:05", strings.TrimSuffix(raw, "Z")); err == nil {
			return Cell{Text: dateText(t), Turn: Date}
		}
		return Cell{Text: plain.Text, Turn: Date}
	case excelize.CellTypeUnset, excelize.CellTypeNumber, excelize.CellTypeFormula:
	default:
		return plain
	}
	number, err := strconv.ParseFloat(raw, 64)
	if err != nil {
		return plain
	}
	style, err := w.GetCellStyle(w.name, name)
	if err != nil {
		return plain
	}
	plain.Turn = w.turnOf(style)
	if plain.Turn == Date {
		if t, err := excelize.ExcelDateToTime(number, w.from1904); err == nil {
			plain.Text = dateText(t)
		}
	}
	return plain
}

// dateText writes a day, with its time unless that is midnight.
func dateText(t time.Time) string {
	t = t.Round(time.Second)
	if t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0 {
		return t.Format(time.DateOnly)
	}
	return t.Format(time.DateTime)
}

var formatAside = regexp.MustCompile(`"[^"]*"|\[[^\]]*\]|\\.`)

// turnOf tells what a number format shows a number as. The numbers of built-in
// formats are those of ECMA-376 part 1, 18.8.30.
func (w *sheet) turnOf(style int) Turn {
	if t, known := w.styles[style]; known {
		return t
	}
	t := None
	if s, err := w.GetStyle(style); err == nil && s != nil {
		switch n := s.NumFmt; {
		case n >= 14 && n <= 22, n >= 27 && n <= 36, n >= 45 && n <= 47, n >= 50 && n <= 58:
			t = Date
		case n == 11, n == 48:
			t = Exponent
		}
		if s.CustomNumFmt != nil {
			format := strings.ToLower(formatAside.ReplaceAllString(*s.CustomNumFmt, ""))
			switch {
			case strings.Contains(format, "general"):
			case strings.ContainsAny(format, "ydh") || strings.Contains(format, "mm"):
				t = Date
			case strings.Contains(format, "e+") || strings.Contains(format, "e-"):
				t = Exponent
			}
		}
	}
	w.styles[style] = t
	return t
}
