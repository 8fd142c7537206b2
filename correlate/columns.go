package correlate

import (
	"bufio"
	"fmt"
	"strings"

	"github.com/rivo/uniseg"
)

// lineWidth is what a terminal is sure to have.
const lineWidth = 80

// narrowest is the least room that a table's names are given.
const narrowest = 8

// printer writes lines of at most lineWidth columns; the writer keeps its first
// error for Flush.
type printer struct{ out *bufio.Writer }

func (p *printer) line(text string) { fmt.Fprintln(p.out, text) }

// width is how many columns text takes on a terminal.
func width(text string) int { return uniseg.StringWidth(text) }

func padded(text string, w int) string { return text + strings.Repeat(" ", max(0, w-width(text))) }

// words parts text where a line may end: nowhere after a times sign, which
// belongs to the number behind it, nor before a per cent sign.
func words(text string) []string {
	var list []string
	for word := range strings.FieldsSeq(text) {
		if last := len(list) - 1; last >= 0 && (strings.HasSuffix(list[last], "×") || strings.HasPrefix(word, "%")) {
			list[last] += " " + word
		} else {
			list = append(list, word)
		}
	}
	return list
}

// wrapped breaks text into lines, the first after one margin, the others after
// another.
func (p *printer) wrapped(first, margin, text string) {
	line, room := first, lineWidth-width(first)
	empty := true
	for _, word := range words(text) {
		if !empty && room < 1+width(word) {
			p.line(line)
			line, room, empty = margin, lineWidth-width(margin), true
		}
		if !empty {
			line, room = line+" ", room-1
		}
		for width(word) > room { // a word that no line holds
			fits, rest := split(word, room)
			p.line(line + fits)
			line, room, word = margin, lineWidth-width(margin), rest
		}
		line, room, empty = line+word, room-width(word), false
	}
	p.line(line)
}

// split parts a word after as many characters as fit into some columns, at
// least one.
func split(word string, columns int) (fits, rest string) {
	state, rest := -1, word
	for rest != "" {
		cluster, after, w, next := uniseg.FirstGraphemeClusterInString(rest, state)
		if fits != "" && width(fits)+w > columns {
			break
		}
		fits, rest, state = fits+cluster, after, next
	}
	return fits, rest
}

// table writes rows in aligned columns under the first row's headings, the first
// column to the left and the others to the right. A name that is too long for
// its column has lines of its own above its row. Where the other columns leave
// names no room, every row is a line of words.
func (p *printer) table(rows [][]string) {
	if len(rows) == 0 {
		return
	}
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for j, cell := range row {
			widths[j] = max(widths[j], width(cell))
		}
	}
	rest := 2
	for _, w := range widths[1:] {
		if w > 0 {
			rest += 2 + w
		}
	}
	if rest+narrowest > lineWidth {
		p.asWords(rows)
		return
	}
	widths[0] = max(narrowest, min(widths[0], lineWidth-rest))
	for _, row := range rows {
		name := row[0]
		if width(name) > widths[0] {
			indent := name[:len(name)-len(strings.TrimLeft(name, " "))]
			p.wrapped("  "+indent, "      "+indent, name)
			name = ""
		}
		var line strings.Builder
		line.WriteString("  " + padded(name, widths[0]))
		for j, cell := range row[1:] {
			if w := widths[j+1]; w > 0 {
				line.WriteString(strings.Repeat(" ", 2+w-width(cell)) + cell)
			}
		}
		if text := strings.TrimRight(line.String(), " "); text != "" {
			p.line(text)
		}
	}
}

// asWords writes each row as "name: heading cell, heading cell".
func (p *printer) asWords(rows [][]string) {
	for _, row := range rows[1:] {
		var cells []string
		for j, cell := range row[1:] {
			if cell != "" {
				cells = append(cells, strings.TrimSpace(rows[0][j+1]+" "+cell))
			}
		}
		text := row[0]
		if len(cells) > 0 {
			text = strings.TrimSpace(text+": ") + " " + strings.Join(cells, ", ")
		}
		p.wrapped("  ", "      ", text)
	}
}
