package trial

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"parstead/cmd/parstead/cells"
)

// sheet is a table with headings, from a .csv or an .xlsx file.
type sheet struct {
	file         string
	headings     []cell
	rows         []row
	decimalComma bool // whether 12,5 may stand for 12.5: the separator is no comma
	workbook     bool
}

// row is one line of a sheet, with as many cells as there are headings.
type row struct {
	sheet *sheet
	at    place
	cells []cell
}

// cell is what stands at one place of a sheet, without surrounding blanks. A
// blank cell is a missing value.
type cell struct {
	sheet *sheet
	text  string
	at    place
	turn  cells.Turn
}

func (c cell) blank() bool { return c.text == "" }

// fold is how headings are compared: without regard to case and blanks around.
func fold(heading string) string { return strings.ToLower(strings.TrimSpace(heading)) }

// column is the index of a heading; -1 if there is none.
func (s *sheet) column(heading string) int {
	heading = fold(heading)
	return slices.IndexFunc(s.headings, func(h cell) bool { return fold(h.text) == heading })
}

func (s *sheet) has(heading string) bool { return s != nil && s.column(heading) >= 0 }

// cell is the row's cell under a heading, blank where there is no such column.
func (r row) cell(heading string) cell {
	if i := r.sheet.column(heading); i >= 0 {
		return r.cells[i]
	}
	return cell{sheet: r.sheet, at: r.at}
}

// openSheet reads NAME.csv or NAME.xlsx; nil if neither is there or it could
// not be read, which broken tells apart. Columns other than the needed and the
// known ones are mistakes, unless known is nil.
func (l *loader) openSheet(name string, needed, known []string) (s *sheet, broken bool) {
	before := len(l.list)
	s, found := l.readSheet(name)
	if s == nil {
		return nil, found
	}
	if slices.ContainsFunc(needed, func(heading string) bool { return !s.has(heading) }) {
		l.list = l.list[:before] // what the rows lack may only follow from the headings
	}
	misnamed := map[string]bool{} // headings that were told already
	for _, heading := range needed {
		if s.has(heading) {
			continue
		}
		broken = true
		mend := fmt.Sprintf("add a column %s, or move the headings into the first line", heading)
		if len(s.headings) == 1 && !s.workbook {
			mend = fmt.Sprintf("add a column %s; cells are separated by commas, semicolons or tabs", heading)
		}
		if near, ok := nearest(heading, s.texts()); ok {
			mend = fmt.Sprintf("call the column %q %s", near, heading)
			misnamed[near] = true
		} else if len(s.headings) == 1 {
			misnamed[s.headings[0].text] = true // another separator
		}
		l.fault(place{s.file, 1, 1}, fmt.Sprintf("there is no column %s", heading), mend)
	}
	if !slices.ContainsFunc(s.headings, func(h cell) bool {
		return hasHeading(needed, h.text) || hasHeading(known, h.text) || misnamed[h.text]
	}) {
		return nil, true // a title, or no headings at all
	}
	for i, h := range s.headings {
		switch {
		case h.blank():
			if j := slices.IndexFunc(s.rows, func(r row) bool { return !r.cells[i].blank() }); j >= 0 {
				l.fault(s.rows[j].cells[i].at, fmt.Sprintf("%q stands in a column without a heading", s.rows[j].cells[i].text), "give the column a heading, or clear it")
			}
		case hasHeading(s.texts()[:i], h.text):
			l.fault(h.at, fmt.Sprintf("two columns are called %q", h.text), "rename or remove one")
			broken = true
		case known != nil && !hasHeading(needed, h.text) && !hasHeading(known, h.text) && !misnamed[h.text]:
			all := slices.Concat(needed, known)
			mend := meant(fold(h.text), all, "call it %s, or remove it", "remove it, or correct its name; known here: "+strings.Join(all, ", "))
			l.fault(h.at, fmt.Sprintf("%s knows no column %q", s.file, h.text), mend)
		}
	}
	if broken {
		return nil, true
	}
	return s, false
}

// Headings are the columns of one of the folder's sheets, as they stand in it; nil
// where there is none.
func (t *Trial) Headings(name string) []string {
	s, _ := (&loader{Trial: t}).readSheet(name)
	if s == nil {
		return nil
	}
	return s.texts()
}

func hasHeading(headings []string, heading string) bool {
	return slices.ContainsFunc(headings, func(h string) bool { return fold(h) == fold(heading) })
}

func (s *sheet) texts() []string {
	var texts []string
	for _, h := range s.headings {
		texts = append(texts, h.text)
	}
	return texts
}

// readSheet reads whichever of NAME.csv and NAME.xlsx is there.
func (l *loader) readSheet(name string) (s *sheet, found bool) {
	first := ""
	for _, ending := range cells.Endings {
		file := name + ending
		data, isDraft := l.drafts[file]
		var err error
		if !isDraft {
			data, err = readFile(filepath.Join(l.Dir, file))
		}
		switch {
		case errors.Is(err, os.ErrNotExist):
			continue
		case err != nil:
			found = true
			if _, ok := errors.AsType[*cells.Fault](err); ok {
				l.unreadable(file, err)
			} else {
				l.fault(place{file: file}, "the file can't be read: "+cause(err), "make it a readable file")
			}
			continue
		case first != "":
			l.fault(place{file: file}, fmt.Sprintf("%s is there too: which of them counts?", first), "keep one of the two in the folder")
			continue
		}
		first, found = file, true
		s = parseSheet(file, data, &l.problems)
	}
	if !found {
		l.warnOverlooked(name)
	}
	return s, found
}

// warnOverlooked tells of a file that was most likely meant to be the sheet.
func (l *loader) warnOverlooked(name string) {
	entries, err := os.ReadDir(l.Dir)
	if err != nil {
		return // trial.toml was read from it: told if it matters
	}
	for _, e := range entries {
		ending := filepath.Ext(e.Name())
		if strings.EqualFold(strings.TrimSuffix(e.Name(), ending), name) && slices.Contains(tableEndings, strings.ToLower(ending)) {
			l.warn(place{e.Name(), 1, 1}, "the file is not read: sheets are "+name+".csv or "+name+".xlsx, in small letters", "save or rename it so, or remove it")
		}
	}
}

var tableEndings = []string{".csv", ".xlsx", ".xls", ".xlsm", ".ods", ".tsv", ".txt"}

func readFile(path string) ([]byte, error) {
	f, err := openFile(path)
	if err != nil {
		return nil, err
	}
	defer func() { _ = f.Close() }() // only read
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	if fault := cells.TooLarge(info.Size()); fault != nil {
		return nil, fault
	}
	return io.ReadAll(io.LimitReader(f, cells.MostBytes+1)) // it may grow meanwhile
}

// parseSheet reads a sheet's file; nil if it can't be read.
func parseSheet(file string, data []byte, p *problems) *sheet {
	read, err := cells.Read(file, data)
	if err != nil {
		p.unreadable(file, err)
		return nil
	}
	s := &sheet{file: file, decimalComma: read.DecimalComma, workbook: read.Workbook}
	for _, r := range read.Rows {
		line := make([]cell, len(r))
		for i, c := range r {
			line[i] = cell{sheet: s, text: c.Text, turn: c.Turn, at: place{file, c.Line, c.Column}}
			if c.Unknown {
				p.fault(line[i].at, "the cell is a formula whose value the file doesn't hold", "save it from a spreadsheet program, or type the value")
			}
		}
		s.add(line, p)
	}
	if s.headings == nil {
		p.fault(place{file, 1, 1}, "the sheet is empty", "write the headings into its first line, or remove the file")
		return nil
	}
	return s
}

// add takes the next line: the headings first. A line of blanks is none.
func (s *sheet) add(line []cell, p *problems) {
	if !slices.ContainsFunc(line, func(c cell) bool { return !c.blank() }) {
		return
	}
	if s.headings == nil {
		s.headings = line
		return
	}
	at := line[0].at
	at.column = 1
	n := len(s.headings)
	switch spare := line[min(n, len(line)):]; {
	case slices.ContainsFunc(spare, func(c cell) bool { return !c.blank() }):
		mend := "write texts that hold a separator in quotes"
		if s.workbook {
			mend = "give every cell a heading, or clear it"
		}
		if !s.decimalComma && !s.workbook {
			for i := range len(line) - 1 {
				if digits(strings.TrimLeft(line[i].text, "+-")) && digits(line[i+1].text) {
					at = line[i].at
					mend = fmt.Sprintf("if %s,%s is one number, write %s.%s, or separate cells by semicolons", line[i].text, line[i+1].text, line[i].text, line[i+1].text)
					break
				}
			}
		}
		p.fault(at, fmt.Sprintf("the line has %d cells, the heading %d", len(line), n), mend)
		return
	case len(line) < n && !s.workbook:
		p.fault(at, fmt.Sprintf("the line has %d cells, the heading %d", len(line), n), "separate cells as in the heading, blank ones too")
		return
	}
	for i := len(line); i < n; i++ {
		line = append(line, cell{sheet: s, at: place{s.file, at.line, i + 1}})
	}
	s.rows = append(s.rows, row{s, at, line[:n]})
}

func digits(s string) bool {
	return s != "" && !strings.ContainsFunc(s, func(r rune) bool { return r < '0' || r > '9' })
}
