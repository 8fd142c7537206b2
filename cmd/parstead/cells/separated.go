package cells

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"io"
)

const byteOrderMark = "\ufeff"

// ErrWide and ErrBinary say why a file is no text that can be read.
var (
	ErrWide   = errors.New("the text is written in UTF-16")
	ErrBinary = errors.New("the file is no text")
)

// isWide tells whether a text begins as UTF-16 does.
func isWide(start []byte) bool {
	return bytes.HasPrefix(start, []byte{0xff, 0xfe}) || bytes.HasPrefix(start, []byte{0xfe, 0xff})
}

// separatorOf is the sign that separates the headings: whichever of tab,
// semicolon and comma stands most often in the first line outside quotes.
func separatorOf(text []byte) rune {
	counts := map[byte]int{}
	quoted := false
	for _, b := range bytes.TrimLeft(text, "\r\n") {
		if b == '\n' && !quoted {
			break
		}
		if b == '"' {
			quoted = !quoted
		}
		if !quoted {
			counts[b]++
		}
	}
	best := byte(',')
	for _, b := range []byte{';', '\t'} {
		if counts[b] > counts[best] {
			best = b
		}
	}
	return rune(best)
}

// newSeparated reads separated values (RFC 4180) from a text without byte-order
// mark; rows may differ in length.
func newSeparated(r io.Reader, separator rune) *csv.Reader {
	s := csv.NewReader(r)
	s.Comma, s.FieldsPerRecord = separator, -1
	return s
}

// Reader reads separated values row by row, however long the file is.
type Reader struct {
	csv     *csv.Reader
	given   *given
	skipped int // lines before the first row
}

// mostOfRow bounds the bytes of one row, which are held in memory: a quotation
// mark that nothing closes would take in the whole file.
const mostOfRow = 1 << 20

// ErrLongRow says that a row has more bytes than one may have.
var ErrLongRow = errors.New("a row has more than 1 MB: a quotation mark that nothing closes may have taken in the rows below; close it, or put it twice inside a quoted cell")

// given counts what has been read of a file, up to a bound that moves with the rows.
type given struct {
	io.Reader
	n, most int64
}

func (g *given) Read(b []byte) (int, error) {
	if g.n > g.most {
		return 0, ErrLongRow
	}
	n, err := g.Reader.Read(b)
	g.n += int64(n)
	return n, err
}

// NewReader tells by its first bytes, so many of them, what a file is, and leaves out
// so many lines before the first row. A first line sep=; as spreadsheet programs
// write it names the separator and is always left out. Errors: ErrWide, ErrBinary,
// ErrLongRow, and what r returns.
func NewReader(r io.Reader, first, skip int) (*Reader, error) {
	counted := &given{r, 0, mostOfRow + 1<<16}
	buffered := bufio.NewReaderSize(counted, 1<<16)
	start, err := buffered.Peek(first)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	if isWide(start) {
		return nil, ErrWide
	}
	if bytes.IndexByte(start, 0) >= 0 {
		return nil, ErrBinary
	}
	if bytes.HasPrefix(start, []byte(byteOrderMark)) {
		start = start[len(byteOrderMark):]
		if _, err := buffered.Discard(len(byteOrderMark)); err != nil {
			return nil, err
		}
	}
	separator, named := namedSeparator(start)
	if named {
		skip = max(skip, 1)
	}
	for range skip {
		if err := skipLine(buffered); err != nil {
			return nil, err
		}
	}
	if !named {
		if start, err = buffered.Peek(first); err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		separator = separatorOf(start)
	}
	s := newSeparated(buffered, separator)
	s.ReuseRecord = true
	return &Reader{s, counted, skip}, nil
}

// namedSeparator reads the line sep=; that a text may begin with.
func namedSeparator(text []byte) (separator rune, ok bool) {
	line, _, _ := bytes.Cut(text, []byte("\n"))
	line = bytes.TrimRight(line, "\r")
	if len(line) != 5 || !bytes.EqualFold(line[:4], []byte("sep=")) || !bytes.ContainsAny(line[4:], ",;\t|") {
		return 0, false
	}
	return rune(line[4]), true
}

// skipLine reads to the end of a line. The end of the file is no fault.
func skipLine(r *bufio.Reader) error {
	for {
		switch _, err := r.ReadSlice('\n'); {
		case err == nil, errors.Is(err, io.EOF):
			return nil
		case !errors.Is(err, bufio.ErrBufferFull):
			return err
		}
	}
}

// Read gives the next row, io.EOF behind the last one. The cells hold until the
// next Read. A misplaced quotation mark is a *csv.ParseError, a row of more cells
// than are read a *Fault; ErrLongRow is wrapped.
func (r *Reader) Read() ([]string, error) {
	row, err := r.csv.Read()
	r.given.most = r.csv.InputOffset() + mostOfRow + 1<<16 // with what is read ahead
	if err == nil && len(row) > MostColumns {
		line, _ := r.Place(MostColumns)
		return nil, tooFar(line, len(row))
	}
	if p, ok := errors.AsType[*csv.ParseError](err); ok {
		p.StartLine, p.Line = p.StartLine+r.skipped, p.Line+r.skipped
	}
	return row, err
}

// Place is the line and the column, in bytes, of a cell of the row.
func (r *Reader) Place(cell int) (line, column int) {
	line, column = r.csv.FieldPos(cell)
	return line + r.skipped, column
}

// DecimalComma tells whether a comma may stand for a number's point.
func (r *Reader) DecimalComma() bool { return r.csv.Comma != ',' }
