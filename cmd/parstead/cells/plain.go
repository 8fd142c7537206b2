package cells

import (
	"bytes"
	"sort"
	"unicode/utf8"
)

// Plain takes a byte-order mark off a text and makes sure that it is UTF-8; else
// the error is a *Fault.
func Plain(text []byte) ([]byte, error) {
	const mend = "save the file again, with the encoding UTF-8"
	if isWide(text) || bytes.IndexByte(text, 0) >= 0 {
		return nil, &Fault{1, 1, "the file is not UTF-8 but UTF-16, or no text at all", mend}
	}
	text = bytes.TrimPrefix(text, []byte(byteOrderMark))
	for offset := 0; offset < len(text); {
		r, size := utf8.DecodeRune(text[offset:])
		if r == utf8.RuneError && size == 1 {
			line, column := LinesOf(text).Position(offset)
			return nil, &Fault{line, column, "the file is not UTF-8: a letter is written in another encoding", mend}
		}
		offset += size
	}
	return text, nil
}

// Lines tells where the bytes of a text stand.
type Lines struct {
	text   []byte
	starts []int // offset of each line
}

// LinesOf finds the lines of a text, which end in \n.
func LinesOf(text []byte) Lines {
	l := Lines{text, []int{0}}
	for i, b := range text {
		if b == '\n' {
			l.starts = append(l.starts, i+1)
		}
	}
	return l
}

// Position is the line and the column, in characters, of a byte; both from 1.
func (l Lines) Position(offset int) (line, column int) {
	offset = min(max(offset, 0), len(l.text))
	line = l.of(offset)
	return line, utf8.RuneCount(l.text[l.starts[line-1]:offset]) + 1
}

// of is the line of a byte, from 1.
func (l Lines) of(offset int) int { return sort.SearchInts(l.starts, offset+1) }

// Column turns a column in bytes of a line (both from 1) into characters.
func (l Lines) Column(line, column int) int {
	if line < 1 || line > len(l.starts) {
		return column
	}
	_, column = l.Position(l.starts[line-1] + column - 1)
	return column
}
