package trial

import (
	"bytes"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/xuri/excelize/v2"
)

// largestWorkbook bounds what a compressed workbook may unfold to, in bytes.
const largestWorkbook = 1 << 28

// parseWorkbook reads the first sheet of an .xlsx file; nil if it can't be read.
func parseWorkbook(file string, data []byte, p *problems) *sheet {
	book, err := excelize.OpenReader(bytes.NewReader(data), excelize.Options{UnzipSizeLimit: largestWorkbook})
	if err == nil && len(book.GetSheetList()) == 0 {
		err = excelize.ErrSheetNotExist{SheetName: "first"}
	}
	if err != nil {
		p.fault(place{file, 1, 1}, "the file is no workbook that can be read: "+err.Error(), "save it again as .xlsx or .csv, without a password")
		return nil
	}
	defer func() { _ = book.Close() }() // only temporary files
	w := workbook{File: book, sheet: book.GetSheetList()[0], styles: map[int]turn{}}
	if props, err := book.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		w.from1904 = *props.Date1904
	}
	rows, err := book.GetRows(w.sheet, excelize.Options{RawCellValue: true})
	if err != nil {
		p.fault(place{file, 1, 1}, "the first sheet can't be read: "+err.Error(), "save it again as .xlsx or .csv")
		return nil
	}
	s := &sheet{file: file, workbook: true}
	for i, texts := range rows {
		cells := make([]cell, len(texts))
		for j, raw := range texts {
			cells[j] = cell{sheet: s, at: place{file, i + 1, j + 1}}
			if raw != "" {
				cells[j].text, cells[j].turn = w.read(j+1, i+1, raw)
			}
		}
		s.add(cells, p)
	}
	return s.orNothing(p)
}

type workbook struct {
	*excelize.File
	sheet    string
	from1904 bool
	styles   map[int]turn // what a number format makes of a number
}

// read gives a cell's text as a .csv file would have it.
func (w workbook) read(column, line int, raw string) (string, turn) {
	name, err := excelize.CoordinatesToCellName(column, line)
	if err != nil {
		return strings.TrimSpace(raw), asItIs
	}
	kind, err := w.GetCellType(w.sheet, name)
	if err != nil {
		return strings.TrimSpace(raw), asItIs
	}
	switch kind {
	case excelize.CellTypeBool:
		if raw == "1" {
			return "TRUE", asItIs
		}
		return "FALSE", asItIs
	case excelize.CellTypeDate: // ISO 8601, as the strict form of the standard has it
		if t, err := time.Parse("2006-01-02T15:04:05", strings.TrimSuffix(raw, "Z")); err == nil {
			return dateText(t), turnedDate
		}
		return strings.TrimSpace(raw), turnedDate
	case excelize.CellTypeUnset, excelize.CellTypeNumber, excelize.CellTypeFormula:
	default:
		return strings.TrimSpace(raw), asItIs
	}
	number, err := strconv.ParseFloat(raw, 64)
	if err != nil {
		return strings.TrimSpace(raw), asItIs
	}
	style, err := w.GetCellStyle(w.sheet, name)
	if err != nil {
		return raw, asItIs
	}
	switch w.turnOf(style) {
	case turnedDate:
		t, err := excelize.ExcelDateToTime(number, w.from1904)
		if err != nil {
			return raw, turnedDate
		}
		return dateText(t), turnedDate
	case turnedExponent:
		return raw, turnedExponent
	}
	return raw, asItIs
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
func (w workbook) turnOf(style int) turn {
	if t, known := w.styles[style]; known {
		return t
	}
	t := asItIs
	if s, err := w.GetStyle(style); err == nil && s != nil {
		switch n := s.NumFmt; {
		case n >= 14 && n <= 22, n >= 27 && n <= 36, n >= 45 && n <= 47, n >= 50 && n <= 58:
			t = turnedDate
		case n == 11, n == 48:
			t = turnedExponent
		}
		if s.CustomNumFmt != nil {
			format := strings.ToLower(formatAside.ReplaceAllString(*s.CustomNumFmt, ""))
			switch {
			case strings.Contains(format, "general"):
			case strings.ContainsAny(format, "ydh") || strings.Contains(format, "mm"):
				t = turnedDate
			case strings.Contains(format, "e+") || strings.Contains(format, "e-"):
				t = turnedExponent
			}
		}
	}
	w.styles[style] = t
	return t
}
