package cells

import (
	"encoding/xml"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/xuri/excelize/v2"
)

// ErrNoWorkbook is wrapped by the error of a file that is none.
var ErrNoWorkbook = errors.New("the file is no workbook that can be read")

// workbook is what a workbook's file says of its first sheet (ECMA-376 part 1,
// section 18). Cells are taken as they come: where a whole sheet is built first,
// one stray cell in its last row and column has it built a million rows long.
type workbook struct {
	parts    packed
	sheet    string   // the part of the first sheet
	shared   []string // texts that cells share
	styles   []Turn   // what the format of each makes of a number
	from1904 bool
	laid     int // cells that a library lays out to change the sheet
}

// readBook gives the cells of the first sheet, row by row. Of blank cells at a
// row's end only formulas are kept. The error is a *Fault.
func readBook(data []byte) ([][]Cell, error) {
	rows, _, err := readSheet(data)
	return rows, err
}

func readSheet(data []byte) (rows [][]Cell, w *workbook, err error) {
	if fault := TooLarge(int64(len(data))); fault != nil {
		return nil, nil, fault
	}
	if w, err = openWorkbook(data); err == nil {
		rows, err = w.rows()
	}
	if fault, ok := errors.AsType[*Fault](err); ok {
		return nil, nil, fault
	}
	if err != nil {
		return nil, nil, noWorkbook{err}
	}
	return rows, w, nil
}

// noWorkbook is why a file is no workbook.
type noWorkbook struct{ cause error }

func (n noWorkbook) Error() string { return n.fault().Error() }

func (n noWorkbook) Unwrap() []error { return []error{ErrNoWorkbook, n.fault()} }

func (n noWorkbook) fault() *Fault {
	return &Fault{1, 1, fmt.Sprintf("%v: %v", ErrNoWorkbook, n.cause), "save it again as .xlsx or .csv, without a password"}
}

// openWorkbook reads what stands beside the sheet.
func openWorkbook(data []byte) (*workbook, error) {
	parts, err := unpack(data)
	if err != nil {
		return nil, err
	}
	w := &workbook{parts: parts}
	whole, err := parts.relations("")
	if err != nil {
		return nil, err
	}
	main := target(whole, "officeDocument")
	first, err := w.readMain(main)
	if err != nil {
		return nil, err
	}
	rests, err := parts.relations(main)
	if err != nil {
		return nil, err
	}
	for _, r := range rests {
		if r.ID == first {
			w.sheet = r.Target
		}
	}
	if shared := target(rests, "sharedStrings"); parts[shared] != nil {
		err = w.readShared(shared)
	}
	if styles := target(rests, "styles"); parts[styles] != nil && err == nil {
		err = w.readStyles(styles)
	}
	return w, err
}

// target is the part of a kind in a list; "" for none.
func target(list []relation, kind string) string {
	for _, r := range list {
		if strings.HasSuffix(r.Type, "/"+kind) {
			return r.Target
		}
	}
	return ""
}

// readMain finds which sheet is the first, and how days are counted.
func (w *workbook) readMain(part string) (first string, err error) {
	err = w.parts.each(part, func(e xml.StartElement, _ func(any) error) error {
		switch e.Name.Local {
		case "workbookPr":
			w.from1904, _ = strconv.ParseBool(attribute(e, "date1904")) // left out: from 1900
		case "sheet":
			if first == "" {
				first = attribute(e, "id")
			}
		}
		return nil
	})
	if err == nil && first == "" {
		err = errors.New("it has no sheet")
	}
	return first, err
}

// readShared reads the texts that cells share.
func (w *workbook) readShared(part string) error {
	return w.parts.each(part, func(e xml.StartElement, read func(any) error) error {
		if e.Name.Local != "si" {
			return nil
		}
		var text richText
		err := read(&text)
		w.shared = append(w.shared, text.String())
		return err
	})
}

// richText is a text, or its runs in several faces; how it is pronounced is left
// out (18.4.8).
type richText struct {
	T    string   `xml:"t"`
	Runs []string `xml:"r>t"`
}

var escape = regexp.MustCompile(`_x([0-9A-Fa-f]{4})_`)

func (r richText) String() string { return unescape(r.T + strings.Join(r.Runs, "")) }

// unescape writes out the signs that XML can't hold (22.9.2.19).
func unescape(text string) string {
	if !strings.Contains(text, "_x") {
		return text
	}
	return escape.ReplaceAllStringFunc(text, func(s string) string {
		n, _ := strconv.ParseUint(s[2:6], 16, 32) // four such digits are a number
		return string(rune(n))
	})
}

// readStyles finds what the number format of each style makes of a number.
func (w *workbook) readStyles(part string) error {
	var own struct {
		Formats []struct {
			ID   int    `xml:"numFmtId,attr"`
			Code string `xml:"formatCode,attr"`
		} `xml:"numFmt"`
	}
	var cells struct {
		Styles []struct {
			Format int `xml:"numFmtId,attr"`
		} `xml:"xf"`
	}
	err := w.parts.each(part, func(e xml.StartElement, read func(any) error) error {
		switch e.Name.Local {
		case "numFmts":
			return read(&own)
		case "cellXfs":
			return read(&cells)
		}
		return nil
	})
	codes := map[int]string{}
	for _, f := range own.Formats {
		codes[f.ID] = f.Code
	}
	for _, s := range cells.Styles {
		w.styles = append(w.styles, turnOf(s.Format, codes[s.Format]))
	}
	return err
}

var formatAside = regexp.MustCompile(`"[^"]*"|\[[^\]]*\]|\\.`)

// turnOf tells what a number format shows a number as. The numbers of built-in
// formats are those of ECMA-376 part 1, 18.8.30.
func turnOf(format int, code string) Turn {
	switch n := format; {
	case n >= 14 && n <= 22, n >= 27 && n <= 36, n >= 45 && n <= 47, n >= 50 && n <= 58:
		return Date
	case n == 11, n == 48:
		return Exponent
	}
	code = strings.ToLower(formatAside.ReplaceAllString(code, ""))
	switch {
	case strings.Contains(code, "general"):
	case strings.ContainsAny(code, "ydh") || strings.Contains(code, "mm"):
		return Date
	case strings.Contains(code, "e+") || strings.Contains(code, "e-"):
		return Exponent
	}
	return None
}

// bookCell is a cell as a sheet's part has it (18.3.1.4).
type bookCell struct {
	Place   string    `xml:"r,attr"`
	Style   int       `xml:"s,attr"`
	Kind    string    `xml:"t,attr"`
	Formula *struct{} `xml:"f"`
	Value   string    `xml:"v"`
	Inline  richText  `xml:"is"`
}

// rows reads the sheet. A row or cell that names no place follows the one before.
func (w *workbook) rows() (rows [][]Cell, err error) {
	line, column, held := 0, 0, 0
	err = w.parts.each(w.sheet, func(e xml.StartElement, read func(any) error) error {
		switch e.Name.Local {
		case "row":
			line, column = line+1, 0
			if r, err := strconv.Atoi(attribute(e, "r")); err == nil {
				line = r
			}
			return nil
		case "c":
		default:
			return nil
		}
		var c bookCell
		if err := read(&c); err != nil {
			return fmt.Errorf("its first sheet, line %d: %w", line, err)
		}
		before := column
		column++
		if c.Place != "" {
			if column, line, err = excelize.CellNameToCoordinates(c.Place); err != nil {
				return fmt.Errorf("its first sheet, line %d: %w", line, err)
			}
		}
		w.laid += max(column-before, 1)
		cell, fault := w.read(&c, line, column)
		if fault != nil {
			return fault
		}
		if cell.Text == "" && !cell.Unknown {
			return nil
		}
		if fault := tooFar(line, column); fault != nil {
			return fault
		}
		for len(rows) < line {
			rows = append(rows, nil)
		}
		row := rows[line-1]
		if held += max(column-len(row), 0); held > mostCells {
			return tooMany(line, column)
		}
		for len(row) < column {
			row = append(row, Cell{Line: line, Column: len(row) + 1})
		}
		row[column-1] = cell
		rows[line-1] = row
		return nil
	})
	return rows, err
}

// read gives a cell as a .csv file would have it.
func (w *workbook) read(c *bookCell, line, column int) (Cell, *Fault) {
	raw := c.Value
	switch c.Kind {
	case "s":
		i, err := strconv.Atoi(raw)
		if err != nil || i < 0 || i >= len(w.shared) {
			return Cell{}, &Fault{line, column, "the cell's text is missing from the file", "save it again from a spreadsheet program"}
		}
		raw = w.shared[i]
	case "inlineStr":
		raw = c.Inline.String()
	case "str":
		raw = unescape(raw)
	}
	cell := Cell{Text: strings.TrimSpace(raw), Line: line, Column: column}
	switch c.Kind {
	case "b":
		cell.Text = map[bool]string{true: "TRUE", false: "FALSE"}[raw == "1"]
	case "d": // ISO 8601, as the strict form of the standard has it
		cell.Turn = Date
		if t, err := time.Parse("2006-01-02T15:04:05", strings.TrimSuffix(raw, "Z")); err == nil {
			cell.Text = dateText(t)
		}
	case "", "n":
		number, err := strconv.ParseFloat(raw, 64)
		if err != nil || c.Style < 0 || c.Style >= len(w.styles) {
			break
		}
		cell.Turn = w.styles[c.Style]
		if cell.Turn == Date {
			if t, err := excelize.ExcelDateToTime(number, w.from1904); err == nil {
				cell.Text = dateText(t)
			}
		}
	}
	if raw == "" {
		cell = Cell{Unknown: c.Formula != nil, Line: line, Column: column}
	}
	if len(cell.Text) > mostOfCell && utf8.RuneCountInString(cell.Text) > mostOfCell {
		return cell, tooLong(line, column)
	}
	return cell, nil
}

// dateText writes a day, with its time unless that is midnight.
func dateText(t time.Time) string {
	t = t.Round(time.Second)
	if t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0 {
		return t.Format(time.DateOnly)
	}
	return t.Format(time.DateTime)
}
