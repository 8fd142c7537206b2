// Package tables sets results out in tables: each is made once and rendered both for
// a terminal and for a page.
package tables

import (
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"parstead/correlate/phrase"
)

// Table is a table of words for a page; the first column is of row headings.
type Table struct {
	Caption string
	Note    string
	Head    []string
	Rows    [][]string
}

// Words tells of every column whether it holds words, which stand at the left,
// rather than numbers.
func (t Table) Words() []bool {
	words := make([]bool, len(t.Head))
	for j := range t.Head {
		letters, others := 0, 0
		for _, row := range t.Rows {
			switch r, _ := utf8.DecodeRuneInString(row[j]); {
			case row[j] == "":
			case unicode.IsLetter(r):
				letters++
			default:
				others++
			}
		}
		words[j] = letters > others
	}
	return words
}

// Spoken is the first column and those that say something in any row.
func (t Table) Spoken() Table {
	said := t
	said.Head, said.Rows = nil, make([][]string, len(t.Rows))
	for j := range t.Head {
		if j > 0 && !slices.ContainsFunc(t.Rows, func(row []string) bool { return row[j] != "" }) {
			continue
		}
		said.Head = append(said.Head, t.Head[j])
		for i, row := range t.Rows {
			said.Rows[i] = append(said.Rows[i], row[j])
		}
	}
	return said
}

// table is a table in both renderings.
type table struct {
	title   cell
	note    cell // under it
	columns []cell
	rows    []row
}

// cell is what a cell says in a terminal and on a page. A column or a row whose
// heading is a page's only is not in a terminal.
type cell struct{ text, page string }

func (c cell) pageOnly() bool { return c.text == "" && c.page != "" }

// row is a row with its name in the first cell. In a terminal, rows under the same
// words stand below these; on a page each begins with them.
type row struct {
	under cell
	cells []cell
}

func (t *table) add(cells ...cell) { t.rows = append(t.rows, row{cells: cells}) }

// in renders a table in a terminal or on a page.
func (t *table) in(terminal bool) Table {
	words := func(cells []cell) []string {
		var list []string
		for j, c := range cells {
			switch {
			case !terminal:
				list = append(list, c.page)
			case !t.columns[j].pageOnly():
				list = append(list, c.text)
			}
		}
		return list
	}
	out := Table{Caption: t.title.page, Note: t.note.page, Head: words(t.columns)}
	under := ""
	for _, r := range t.rows {
		list := words(r.cells)
		switch {
		case !terminal && r.under.page != "":
			list[0] = r.under.page + ": " + list[0]
		case terminal && r.cells[0].pageOnly():
			continue
		case terminal && r.under.text != "":
			if under != r.under.text {
				under = r.under.text
				out.Rows = append(out.Rows, append([]string{under}, make([]string, len(list)-1)...))
			}
			list[0] = "  " + list[0]
		}
		out.Rows = append(out.Rows, list)
	}
	return out.Spoken()
}

// onPage are those tables that have rows.
func onPage(list ...table) []Table {
	var pages []Table
	for _, t := range list {
		if len(t.rows) > 0 {
			pages = append(pages, t.in(false))
		}
	}
	return pages
}

// tables writes those tables that have rows or a note in a terminal.
func (p *Lines) tables(list ...table) {
	for _, t := range list {
		if len(t.rows) == 0 && t.note.text == "" {
			continue
		}
		p.Line("")
		if t.title.text != "" {
			p.Wrapped("", "  ", t.title.text)
		}
		p.Table(t.in(true))
		if t.note.text != "" {
			p.Wrapped("  ", "  ", t.note.text)
		}
	}
}

// same is a cell that says the same in both renderings.
func same(words string) cell { return cell{words, words} }

func number(x *float64) cell { return same(phrase.Optional(x)) }

func count(n int) cell { return same(strconv.Itoa(n)) }

func between(ci *[2]float64) cell { return same(phrase.Between(ci)) }

// chance is a p value.
func chance(p *float64) cell {
	if p == nil {
		return cell{}
	}
	words := phrase.P(*p)
	return cell{strings.Replace(words, "below ", "<", 1), strings.Replace(words, "below", "<", 1)}
}

// freedom are degrees of freedom, whole where they are.
func freedom(df ...float64) cell {
	var text, page []string
	for _, d := range df {
		text, page = append(text, phrase.Freedom(d)), append(page, phrase.Given(d))
	}
	return cell{strings.Join(text, ", "), strings.Join(page, " and ")}
}

// of is a name with the value of analyse_by that it is of.
func of(name string, value map[string]string) cell {
	if len(value) == 0 {
		return same(name)
	}
	words := phrase.Of(value)
	return cell{name + ", " + words, words + ": " + name}
}
