package tables

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"github.com/rivo/uniseg"
)

// lineWidth is what a terminal is sure to have.
const lineWidth = 80

// narrowest is the least room that a table's names are given.
const narrowest = 8

// Lines writes lines of at most 80 columns, for a terminal.
type Lines struct{ out *bufio.Writer }

// NewLines writes to w what is flushed.
func NewLines(w io.Writer) *Lines { return &Lines{bufio.NewWriter(w)} }

// Flush writes what is left.
//
// Errors: the first of w's own.
func (p *Lines) Flush() error { return p.out.Flush() }

// Line writes a line as it stands.
func (p *Lines) Line(text string) { fmt.Fprintln(p.out, text) }

// Heading writes a heading after an empty line.
func (p *Lines) Heading(text string) {
	p.Line("")
	p.Wrapped("", "  ", text)
}

// Title writes a title with a rule under it.
func (p *Lines) Title(text string) {
	p.Wrapped("", "", text)
	p.Line(strings.Repeat("─", min(lineWidth, width(text))))
}

// width is how many columns text takes on a terminal.
func width(text string) int { return uniseg.StringWidth(text) }

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

// Wrapped breaks text into lines, the first after one margin, the others after
// another.
func (p *Lines) Wrapped(first, margin, text string) {
	for _, line := range broken(first, margin, text) {
		p.Line(line)
	}
}

// broken breaks text into lines, the first after one margin, the others after another.
func broken(first, margin, text string) (lines []string) {
	line, room := first, lineWidth-width(first)
	empty := true
	for _, word := range words(text) {
		if !empty && room < 1+width(word) {
			lines = append(lines, line)
			line, room, empty = margin, lineWidth-width(margin), true
		}
		if !empty {
			line, room = line+" ", room-1
		}
		for width(word) > room { // a word that no line holds
			fits, rest := split(word, room)
			lines = append(lines, line+fits)
			line, room, word = margin, lineWidth-width(margin), rest
		}
		line, room, empty = line+word, room-width(word), false
	}
	return append(lines, line)
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

// Table writes rows in aligned columns under their headings, the first column to the
// left and the others to the right; a column without words is left out. A name that
// is too long for its column has lines of its own above its row. Where the other
// columns leave names no room, every row is a line of words.
func (p *Lines) Table(t Table) {
	if len(t.Rows) == 0 {
		return
	}
	t = t.Spoken()
	rows := append([][]string{t.Head}, t.Rows...)
	widths := make([]int, len(t.Head))
	rest := 2
	for j := range t.Head {
		for _, row := range rows {
			widths[j] = max(widths[j], width(row[j]))
		}
		if j > 0 {
			rest += 2 + widths[j]
		}
	}
	if rest+narrowest > lineWidth {
		p.asWords(t)
		return
	}
	widths[0] = max(narrowest, min(widths[0], lineWidth-rest))
	for _, row := range rows {
		name := row[0]
		if width(name) > widths[0] {
			indent := name[:len(name)-len(strings.TrimLeft(name, " "))]
			p.Wrapped("  "+indent, "      "+indent, name)
			name = ""
		}
		line := "  " + name + strings.Repeat(" ", widths[0]-width(name))
		for j, cell := range row[1:] {
			line += strings.Repeat(" ", 2+widths[j+1]-width(cell)) + cell
		}
		if line = strings.TrimRight(line, " "); line != "" {
			p.Line(line)
		}
	}
}

// asWords writes each row as "name: heading cell, heading cell".
func (p *Lines) asWords(t Table) {
	for _, row := range t.Rows {
		var cells []string
		for j, cell := range row[1:] {
			if cell != "" {
				cells = append(cells, strings.TrimSpace(t.Head[j+1]+" "+cell))
			}
		}
		text := row[0]
		if len(cells) > 0 {
			text = strings.TrimSpace(text+": ") + " " + strings.Join(cells, ", ")
		}
		p.Wrapped("  ", "      ", text)
	}
}
