package trial

import (
	"bytes"
	"unicode/utf8"
)

// plainText takes a byte-order mark off a text and makes sure that it is UTF-8.
func plainText(file string, text []byte, p *problems) (plain []byte, ok bool) {
	const mend = "save the file again, with the encoding UTF-8"
	wide := bytes.HasPrefix(text, []byte{0xff, 0xfe}) || bytes.HasPrefix(text, []byte{0xfe, 0xff})
	if wide || bytes.IndexByte(text, 0) >= 0 {
		p.fault(place{file, 1, 1}, "the file is not UTF-8 but UTF-16, or no text at all", mend)
		return nil, false
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if utf8.Valid(text) {
		return text, true
	}
	offset := 0
	for {
		r, size := utf8.DecodeRune(text[offset:])
		if r == utf8.RuneError && size == 1 {
			break
		}
		offset += size
	}
	line, column := linesOf(text).position(offset)
	p.fault(place{file, line, column}, "the file is not UTF-8: a letter is written in another encoding", mend)
	return nil, false
}
