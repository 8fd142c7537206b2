package cells

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// Text is a sheet of separated values that is changed in place: what is not
// changed stays as the grower's program wrote it, byte by byte.
type Text struct {
	text      []byte // without byte-order mark; lines end in \n or \r\n
	marked    bool   // there was a byte-order mark
	oldEnds   bool   // lines ended in a lone \r
	separator rune
	newline   string
	mark      byte // the decimal mark of numbers
	lines     []textLine
}

// textLine is a line that is not all blank, the headings first.
type textLine struct {
	cells []textCell
	end   int // offset behind its last cell
}

type textCell struct {
	text     string
	from, to int // offsets, quotes included
}

// readText reads separated values with comma, semicolon or tab.
func readText(data []byte) (*Sheet, error) {
	if fault := TooLarge(int64(len(data))); fault != nil {
		return nil, fault
	}
	data, err := Plain(data)
	if err != nil {
		return nil, err
	}
	text, err := newText(data)
	if err != nil {
		return nil, err
	}
	s := &Sheet{DecimalComma: text.separator != ','}
	lines := LinesOf(text.text)
	for _, line := range text.lines {
		row := make([]Cell, len(line.cells))
		for i, c := range line.cells {
			row[i].Text = c.text
			if at := lines.of(c.from); i > 0 && at == row[i-1].Line { // a line is counted through once
				row[i].Line, row[i].Column = at, row[i-1].Column+utf8.RuneCount(text.text[line.cells[i-1].from:c.from])
			} else {
				row[i].Line, row[i].Column = lines.Position(c.from)
			}
		}
		s.Rows = append(s.Rows, row)
	}
	return s, nil
}

// OpenText opens a text in UTF-8 to change it. The error is a *Fault.
func OpenText(data []byte) (*Text, error) {
	c, err := newText(data)
	if err == nil {
		c.mark = c.decimalMark()
	}
	return c, err
}

func newText(data []byte) (*Text, error) {
	c := &Text{newline: "\n"}
	c.text, c.marked = bytes.CutPrefix(bytes.Clone(data), []byte(byteOrderMark))
	if bytes.IndexByte(c.text, '\n') < 0 && bytes.IndexByte(c.text, '\r') >= 0 {
		c.oldEnds = true
		c.text = bytes.ReplaceAll(c.text, []byte("\r"), []byte("\n"))
	} else if bytes.Contains(c.text, []byte("\r\n")) {
		c.newline = "\r\n"
	}
	c.separator = separatorOf(c.text)
	return c, c.parse()
}

// NewText is an empty sheet with these headings, written as like is; with commas
// where that is nil.
func NewText(like *Text, headings []string) (*Text, error) {
	fresh := Text{separator: ',', newline: "\n", mark: '.'}
	if like != nil {
		fresh = *like
	}
	fresh.lines = nil
	fresh.text = []byte(strings.Join(headings, string(fresh.separator)) + fresh.newline)
	return &fresh, fresh.parse()
}

// parse finds where the cells stand. The error is a *Fault.
func (c *Text) parse() error {
	c.lines = c.lines[:0]
	lines := LinesOf(c.text)
	r := newSeparated(bytes.NewReader(c.text), c.separator)
	held := 0
	for {
		texts, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return misquoted(err, lines)
		}
		held += len(texts)
		if fault := c.bounded(r, texts, held, lines); fault != nil {
			return fault
		}
		end := int(r.InputOffset())
		if end > 0 && c.text[end-1] == '\n' {
			end--
		}
		if end > 0 && c.text[end-1] == '\r' {
			end--
		}
		line := textLine{cells: make([]textCell, len(texts)), end: end}
		for i := range slices.Backward(texts) {
			at, column := r.FieldPos(i)
			from := lines.starts[at-1] + column - 1
			line.cells[i] = textCell{strings.TrimSpace(texts[i]), from, end}
			end = from - 1 // the separator is one byte
		}
		if slices.ContainsFunc(line.cells, func(c textCell) bool { return c.text != "" }) {
			c.lines = append(c.lines, line)
		}
	}
}

// bounded tells of a line that has more than is read, of so many cells held.
func (c *Text) bounded(r *csv.Reader, texts []string, held int, lines Lines) *Fault {
	at, _ := r.FieldPos(0)
	last := len(texts)
	if fault := tooFar(at, 1); fault != nil {
		return fault
	}
	if fault := tooFar(at, last); fault != nil {
		_, column := r.FieldPos(MostColumns)
		fault.Column = lines.Column(at, column)
		return fault
	}
	if held > mostCells {
		return tooMany(at, 1)
	}
	for i, text := range texts {
		if len(text) > mostOfCell && utf8.RuneCountInString(text) > mostOfCell {
			line, column := r.FieldPos(i)
			return tooLong(line, lines.Column(line, column))
		}
	}
	return nil
}

// misquoted tells what is wrong with a quotation mark.
func misquoted(err error, lines Lines) error {
	broken, ok := errors.AsType[*csv.ParseError](err)
	if !ok {
		return &Fault{1, 1, err.Error(), "save the file again"}
	}
	if broken.StartLine < broken.Line {
		return &Fault{broken.StartLine, 1, "a quotation mark opens a cell that nothing closes", "close the cell with another, or remove the mark"}
	}
	line := max(broken.Line, 1)
	return &Fault{line, lines.Column(line, broken.Column), "a quotation mark stands alone", `put it twice ("") inside a quoted cell, or remove it`}
}

// decimalMark is the mark that the sheet's numbers have. Where none shows it, a
// semicolon tells of a comma: a spreadsheet that separates by semicolons does so
// because its numbers have commas, and takes 3.4 for a date.
func (c *Text) decimalMark() byte {
	if c.separator == ',' {
		return '.'
	}
	commas, points := 0, 0
	for _, line := range c.lines {
		for _, cell := range line.cells {
			switch {
			case IsCommaNumber(cell.text):
				commas++
			case IsNumber(cell.text) && strings.Contains(cell.text, "."):
				points++
			}
		}
	}
	if commas > points || commas == points && c.separator == ';' {
		return ','
	}
	return '.'
}

var (
	plainNumber = regexp.MustCompile(`^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$`)
	commaNumber = regexp.MustCompile(`^[+-]?\d*,\d+([eE][+-]?\d+)?$`)
)

// IsNumber tells whether a text is a number with a decimal point, or whole.
func IsNumber(text string) bool { return plainNumber.MatchString(text) }

// IsCommaNumber tells whether a text is a number with a decimal comma.
func IsCommaNumber(text string) bool { return commaNumber.MatchString(text) }

// Rows are the lines that are not all blank.
func (c *Text) Rows() [][]string {
	rows := make([][]string, len(c.lines))
	for i, line := range c.lines {
		for _, cell := range line.cells {
			rows[i] = append(rows[i], cell.text)
		}
	}
	return rows
}

// Set writes into a cell.
func (c *Text) Set(row, column int, v Value) error {
	cell := c.lines[row].cells[column]
	return c.splice(cell.from, cell.to, c.write(v))
}

// AddHeading writes a heading behind the others, and a blank cell into each line.
func (c *Text) AddHeading(heading string) error {
	width := len(c.lines[0].cells)
	for _, line := range slices.Backward(c.lines[1:]) {
		if len(line.cells) == width { // else it has blank cells to spare
			c.text = slices.Insert(c.text, line.end, []byte(string(c.separator))...)
		}
	}
	end := c.lines[0].end
	return c.splice(end, end, string(c.separator)+c.write(Value{Text: heading}))
}

// AddRow writes a line at the end.
func (c *Text) AddRow(values []Value) error {
	texts := make([]string, len(values))
	for i, v := range values {
		texts[i] = c.write(v)
	}
	line := strings.Join(texts, string(c.separator)) + c.newline
	if n := len(c.text); n > 0 && c.text[n-1] != '\n' {
		line = c.newline + line
	}
	return c.splice(len(c.text), len(c.text), line)
}

// DropRow removes a line.
func (c *Text) DropRow(row int) error {
	line := c.lines[row]
	end := line.end
	for _, b := range []byte("\r\n") {
		if end < len(c.text) && c.text[end] == b {
			end++
		}
	}
	return c.splice(line.cells[0].from, end, "")
}

func (c *Text) splice(from, to int, with string) error {
	c.text = slices.Replace(c.text, from, to, []byte(with)...)
	return c.parse()
}

// write is a value as a cell of the sheet.
func (c *Text) write(v Value) string {
	text := v.Text
	if v.Number && c.mark == ',' {
		text = strings.Replace(text, ".", ",", 1)
	}
	if strings.ContainsRune(text, c.separator) || strings.ContainsAny(text, "\"\r\n") || strings.TrimSpace(text) != text {
		text = `"` + strings.ReplaceAll(text, `"`, `""`) + `"`
	}
	return text
}

// Bytes is the sheet as a file.
func (c *Text) Bytes() ([]byte, error) {
	text := c.text
	if c.oldEnds {
		text = bytes.ReplaceAll(text, []byte("\n"), []byte("\r"))
	}
	if c.marked {
		return slices.Concat([]byte(byteOrderMark), text), nil
	}
	return slices.Clone(text), nil
}

// Close has nothing to free.
func (c *Text) Close() error { return nil }
