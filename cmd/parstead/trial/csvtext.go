package trial

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
)

// csvText is a sheet of separated cells that is changed in place: what is not
// changed stays as the grower's program wrote it, byte by byte.
type csvText struct {
	text      []byte // without byte-order mark; lines end in \n or \r\n
	marked    bool   // there was a byte-order mark
	oldEnds   bool   // lines ended in a lone \r
	separator rune
	newline   string
	mark      byte // the decimal mark of numbers
	lines     []csvLine
}

// csvLine is a line that is not all blank, the headings first.
type csvLine struct {
	cells []csvCell
	end   int // offset behind its last cell
}

type csvCell struct {
	text     string
	from, to int // offsets, quotes included
}

// openCSV takes the text of a sheet that check finds no fault with.
func openCSV(data []byte) (*csvText, error) {
	c := &csvText{newline: "\n"}
	c.text, c.marked = bytes.CutPrefix(bytes.Clone(data), []byte("\ufeff"))
	if bytes.IndexByte(c.text, '\n') < 0 && bytes.IndexByte(c.text, '\r') >= 0 {
		c.oldEnds = true
		c.text = bytes.ReplaceAll(c.text, []byte("\r"), []byte("\n"))
	} else if bytes.Contains(c.text, []byte("\r\n")) {
		c.newline = "\r\n"
	}
	c.separator = separatorOf(c.text)
	if err := c.parse(); err != nil {
		return nil, err
	}
	c.mark = c.decimalMark()
	return c, nil
}

// parse finds where the cells stand.
func (c *csvText) parse() error {
	c.lines = c.lines[:0]
	starts := linesOf(c.text).starts
	r := csv.NewReader(bytes.NewReader(c.text))
	r.Comma, r.FieldsPerRecord = c.separator, -1
	for {
		texts, err := r.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		end := int(r.InputOffset())
		if end > 0 && c.text[end-1] == '\n' {
			end--
		}
		if end > 0 && c.text[end-1] == '\r' {
			end--
		}
		line := csvLine{cells: make([]csvCell, len(texts)), end: end}
		for i := range slices.Backward(texts) {
			at, column := r.FieldPos(i)
			from := starts[at-1] + column - 1
			line.cells[i] = csvCell{strings.TrimSpace(texts[i]), from, end}
			end = from - 1 // the separator is one byte
		}
		if slices.ContainsFunc(line.cells, func(c csvCell) bool { return c.text != "" }) {
			c.lines = append(c.lines, line)
		}
	}
}

// decimalMark is the mark that the sheet's numbers have. Where none shows it, a
// semicolon tells of a comma: a spreadsheet that separates by semicolons does so
// because its numbers have commas, and takes 3.4 for a date.
func (c *csvText) decimalMark() byte {
	if c.separator == ',' {
		return '.'
	}
	commas, points := 0, 0
	for _, line := range c.lines {
		for _, cell := range line.cells {
			switch {
			case commaNumber.MatchString(cell.text):
				commas++
			case plainNumber.MatchString(cell.text) && strings.Contains(cell.text, "."):
				points++
			}
		}
	}
	if commas > points || commas == points && c.separator == ';' {
		return ','
	}
	return '.'
}

// Rows are the lines that are not all blank.
func (c *csvText) Rows() [][]string {
	rows := make([][]string, len(c.lines))
	for i, line := range c.lines {
		for _, cell := range line.cells {
			rows[i] = append(rows[i], cell.text)
		}
	}
	return rows
}

// Set writes into a cell.
func (c *csvText) Set(row, column int, v value) error {
	cell := c.lines[row].cells[column]
	return c.splice(cell.from, cell.to, c.write(v))
}

// AddHeading writes a heading behind the others, and a blank cell into each line.
func (c *csvText) AddHeading(heading string) error {
	width := len(c.lines[0].cells)
	for _, line := range slices.Backward(c.lines[1:]) {
		if len(line.cells) == width { // else it has blank cells to spare
			c.text = slices.Insert(c.text, line.end, []byte(string(c.separator))...)
		}
	}
	end := c.lines[0].end
	return c.splice(end, end, string(c.separator)+c.write(value{Text: heading}))
}

// AddRow writes a line at the end.
func (c *csvText) AddRow(values []value) error {
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
func (c *csvText) DropRow(row int) error {
	line := c.lines[row]
	end := line.end
	for _, b := range []byte("\r\n") {
		if end < len(c.text) && c.text[end] == b {
			end++
		}
	}
	return c.splice(line.cells[0].from, end, "")
}

func (c *csvText) splice(from, to int, with string) error {
	c.text = slices.Replace(c.text, from, to, []byte(with)...)
	return c.parse()
}

// write is a value as a cell of the sheet.
func (c *csvText) write(v value) string {
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
func (c *csvText) Bytes() ([]byte, error) {
	text := c.text
	if c.oldEnds {
		text = bytes.ReplaceAll(text, []byte("\n"), []byte("\r"))
	}
	if c.marked {
		return slices.Concat([]byte("\ufeff"), text), nil
	}
	return slices.Clone(text), nil
}

// like is an empty sheet with these headings, written as c is.
func (c *csvText) like(headings []string) (*csvText, error) {
	fresh := *c
	fresh.lines = nil
	fresh.text = []byte(strings.Join(headings, string(c.separator)) + c.newline)
	return &fresh, fresh.parse()
}

// Close has nothing to free.
func (c *csvText) Close() error { return nil }
