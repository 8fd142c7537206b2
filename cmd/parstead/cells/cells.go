// Package cells reads and changes files that hold cells: separated values in a
// text, and workbooks (.xlsx), whose first sheet is read as the .csv of it would
// be.
package cells

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strings"
)

// Turn is what a spreadsheet made of a number that was typed.
type Turn string

// What a number may be shown as.
const (
	None     Turn = ""
	Date     Turn = "a date"
	Exponent Turn = "a number with an exponent"
)

// Cell is what stands at one place.
type Cell struct {
	Text    string // without surrounding blanks; of a workbook a number in full, a date as 2026-07-21
	Line    int    // from 1
	Column  int    // from 1, in characters of a text, in cells of a workbook
	Turn    Turn
	Unknown bool // a formula whose value the file doesn't hold
}

// Sheet is what a file holds. Rows may differ in length.
type Sheet struct {
	Rows         [][]Cell
	Workbook     bool
	DecimalComma bool // whether 12,5 may stand for 12.5: a text's separator is no comma
}

// Value is what is written into a cell.
type Value struct {
	Text   string
	Number bool // the text is a number with a decimal point
}

// Draft is a file whose cells are changed; what is not changed stays as the
// grower's program wrote it.
type Draft interface {
	Rows() [][]string // the headings first; without lines that are all blank
	Set(row, column int, v Value) error
	AddHeading(heading string) error // behind the others
	AddRow(values []Value) error     // at the end
	DropRow(row int) error
	Bytes() ([]byte, error)
	Close() error
}

// Fault is why a file can't be read: where, what, and the mend.
type Fault struct {
	Line, Column int
	Says, Mend   string
}

func (f *Fault) Error() string { return fmt.Sprintf("line %d: %s; %s", f.Line, f.Says, f.Mend) }

// Endings are those of the files that are read and changed here.
var Endings = []string{".csv", ".xlsx"}

func isWorkbook(file string) bool { return strings.EqualFold(filepath.Ext(file), ".xlsx") }

// Read reads a file by its ending. The error wraps a *Fault.
func Read(file string, data []byte) (*Sheet, error) {
	if isWorkbook(file) {
		rows, err := readBook(data)
		if err != nil {
			return nil, err
		}
		return &Sheet{Rows: rows, Workbook: true}, nil
	}
	if fault := inDisguise(data); fault != nil {
		return nil, fault
	}
	return readText(data)
}

// inDisguise is the fault of a workbook that is called a text; nil for what is none.
// The signatures are those of the ZIP format (APPNOTE 4.3.7) and of compound files
// ([MS-CFB] 2.2).
func inDisguise(data []byte) *Fault {
	const says = "the file is a workbook, whatever its name says"
	switch {
	case bytes.HasPrefix(data, []byte("PK\x03\x04")):
		return &Fault{1, 1, says, "call it .xlsx, or save it as CSV from the spreadsheet program"}
	case bytes.HasPrefix(data, []byte("\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")):
		return &Fault{1, 1, says + ", and of an old kind", "save it as .xlsx or CSV from the spreadsheet program"}
	}
	return nil
}

// Change opens a file that Read reads, by its ending, to change it. Close it.
func Change(file string, data []byte) (Draft, error) {
	if isWorkbook(file) {
		return openBook(data)
	}
	if fault := inDisguise(data); fault != nil {
		return nil, fault
	}
	return OpenText(data)
}
