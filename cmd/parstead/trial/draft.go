package trial

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"parstead/cmd/parstead/workbook"
)

// The sheets that entries are made in.
const (
	CountsSheet  = "counts"
	HarvestSheet = "harvest"
	MovesSheet   = "moves"
)

// enteredHeadings are the headings that a sheet is begun with.
var enteredHeadings = map[string][]string{
	CountsSheet:  {"time", "plant", "outcome", "value"},
	HarvestSheet: {"plant", "date", "status", "lost_on", "cause"},
	MovesSheet:   {"time", "plant", "bin", "row", "column"},
}

// Change is a line to add to counts or moves, or cells to set in a plant's line
// of harvest. One of its cells is under "plant".
type Change struct {
	Sheet string `json:"sheet"`
	Cells []Set  `json:"cells"`
}

// Set is a value under a heading.
type Set struct {
	Heading string `json:"heading"`
	Value   string `json:"value"`            // a number has a decimal point
	Before  string `json:"before,omitempty"` // what stood there, as it stood
}

// value is what is written into a cell.
type value = workbook.Value

// value tells numbers from what only looks like one.
func (s Set) value() value {
	return value{Text: s.Value, Number: fold(s.Heading) != "plant" && plainNumber.MatchString(s.Value)}
}

// Plant is the code of the plant that the change is about.
func (c Change) Plant() string {
	for _, s := range c.Cells {
		if fold(s.Heading) == "plant" {
			return s.Value
		}
	}
	return ""
}

// sheetText is a sheet as a file, with cells that can be changed.
type sheetText interface {
	Rows() [][]string // the headings first; without lines that are all blank
	Set(row, column int, v value) error
	AddHeading(heading string) error
	AddRow(values []value) error
	Bytes() ([]byte, error)
	Close() error
}

// draftSheet is a sheet in a draft.
type draftSheet struct {
	file   string
	before []byte // as it was read; nil where there was none
	after  []byte // with all changes so far; nil while there are none
}

// Draft is a trial's folder with changes that are not written yet.
type Draft struct {
	dir      string
	sheets   map[string]*draftSheet // by name
	warnings []Problem              // of the folder as the draft now stands
}

// ErrUnusable is wrapped by the error of NewDraft for a folder whose files have
// a mistake.
var ErrUnusable = errors.New("the trial's files have a mistake: nothing can be entered before it is mended")

// NewDraft begins a draft of the folder as it now lies on the disk.
func NewDraft(dir string) (*Draft, error) {
	d := &Draft{dir: dir, sheets: map[string]*draftSheet{}}
	for name := range enteredHeadings {
		s, err := readDraft(dir, name)
		if err != nil {
			return nil, err
		}
		d.sheets[name] = s
	}
	t, problems := load(dir, nil)
	if t == nil || !Usable(problems) {
		return nil, fmt.Errorf("%w: %w", ErrUnusable, firstError(problems))
	}
	d.warnings = problems
	return d, nil
}

func firstError(problems []Problem) error {
	i := slices.IndexFunc(problems, func(p Problem) bool { return p.Level == LevelError })
	return problems[i]
}

// readDraft reads whichever of NAME.csv and NAME.xlsx is there.
func readDraft(dir, name string) (*draftSheet, error) {
	for _, file := range []string{name + ".csv", name + ".xlsx"} {
		data, err := readFile(filepath.Join(dir, file))
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("read %s: %w", file, err)
		}
		return &draftSheet{file: file, before: data}, nil
	}
	return &draftSheet{file: name + ".csv"}, nil
}

// Make adds a change to the draft and gives it back with what stood in its
// cells before. A change after which a rule of check is broken is not made: the
// error is then that Problem. Remarks are warnings that follow from the change.
func (d *Draft) Make(c Change) (made Change, remarks []Problem, err error) {
	s := d.sheets[c.Sheet]
	text, err := d.open(c.Sheet)
	if err != nil {
		return c, nil, err
	}
	defer func() { err = errors.Join(err, text.Close()) }()
	made, err = c.apply(text)
	if err != nil {
		return c, nil, fmt.Errorf("change %s: %w", s.file, err)
	}
	after, err := text.Bytes()
	if err != nil {
		return c, nil, fmt.Errorf("change %s: %w", s.file, err)
	}
	drafts := d.drafts()
	drafts[s.file] = after
	t, problems := load(d.dir, drafts)
	if t == nil || !Usable(problems) {
		return c, nil, firstError(problems)
	}
	for _, p := range problems {
		if !slices.ContainsFunc(d.warnings, func(q Problem) bool { return p.Says == q.Says }) {
			remarks = append(remarks, p)
		}
	}
	s.after, d.warnings = after, problems
	return made, remarks, nil
}

// Again adds a change that may have been made before, by a program that ended
// before it could tell. done says whether the sheet now has it; false, with no
// error, means that somebody has changed the sheet otherwise since.
func (d *Draft) Again(c Change) (done bool, err error) {
	text, err := d.open(c.Sheet)
	if err != nil {
		return false, err
	}
	defer func() { err = errors.Join(err, text.Close()) }()
	switch c.stands(text.Rows()) {
	case written:
		return true, nil
	case overwritten:
		return false, nil
	}
	_, _, err = d.Make(c)
	return err == nil, err
}

// drafts are the changed files by name.
func (d *Draft) drafts() map[string][]byte {
	drafts := map[string][]byte{}
	for _, s := range d.sheets {
		if s.after != nil {
			drafts[s.file] = s.after
		}
	}
	return drafts
}

// open is the sheet's text with all changes so far. A sheet that is not there
// yet is begun in the way of one that is.
func (d *Draft) open(name string) (sheetText, error) {
	s, known := d.sheets[name]
	if !known {
		return nil, fmt.Errorf("%q is no sheet that entries are made in", name)
	}
	data := s.after
	if data == nil {
		data = s.before
	}
	switch {
	case data == nil:
		return d.begin(name)
	case strings.HasSuffix(s.file, ".xlsx"):
		return workbook.Open(data)
	default:
		return openCSV(data)
	}
}

func (d *Draft) begin(name string) (sheetText, error) {
	model := &csvText{separator: ',', newline: "\n", mark: '.'}
	for _, other := range []string{"harvest", "counts", "layout", "plants"} {
		data, err := readFile(filepath.Join(d.dir, other+".csv"))
		if err != nil {
			continue // there may be none
		}
		if c, err := openCSV(data); err == nil {
			model = c
			break
		}
	}
	return model.like(enteredHeadings[name])
}

// apply changes the sheet.
func (c Change) apply(text sheetText) (made Change, err error) {
	made = Change{c.Sheet, slices.Clone(c.Cells)}
	for _, s := range c.Cells {
		if !hasHeading(text.Rows()[0], s.Heading) {
			if err := text.AddHeading(s.Heading); err != nil {
				return made, err
			}
		}
	}
	rows := text.Rows()
	headings := rows[0]
	if row := c.row(rows); row >= 0 {
		for i, s := range c.Cells {
			column := columnOf(headings, s.Heading)
			before := at(rows[row], column)
			if same(before, s.Value) {
				continue
			}
			made.Cells[i].Before = before
			if err := text.Set(row, column, s.value()); err != nil {
				return made, err
			}
		}
		return made, nil
	}
	line := make([]value, len(headings))
	for _, s := range c.Cells {
		line[columnOf(headings, s.Heading)] = s.value()
	}
	return made, text.AddRow(line)
}

// row is the line of harvest that the change is about; -1 where a new one is due.
func (c Change) row(rows [][]string) int {
	if c.Sheet != HarvestSheet {
		return -1
	}
	column := columnOf(rows[0], "plant")
	for i, row := range rows[1:] {
		if at(row, column) == c.Plant() {
			return i + 1
		}
	}
	return -1
}

// standing is how a sheet stands to a change.
type standing int

const (
	due         standing = iota // the sheet is as it was before the change
	written                     // the change is there
	overwritten                 // neither
)

func (c Change) stands(rows [][]string) standing {
	is := func(row []string, s Set, text string) bool {
		column := columnOf(rows[0], s.Heading)
		return same(at(row, column), text)
	}
	if c.Sheet != HarvestSheet {
		for _, row := range rows[1:] {
			if !slices.ContainsFunc(c.Cells, func(s Set) bool { return !is(row, s, s.Value) }) {
				return written
			}
		}
		return due
	}
	i := c.row(rows)
	if i < 0 {
		return due
	}
	state := written
	for _, s := range c.Cells {
		switch {
		case is(rows[i], s, s.Value):
		case is(rows[i], s, s.Before):
			state = due
		default:
			return overwritten
		}
	}
	return state
}

func columnOf(headings []string, heading string) int {
	return slices.IndexFunc(headings, func(h string) bool { return fold(h) == fold(heading) })
}

// at is a row's cell; blank where it has none.
func at(row []string, column int) string {
	if column < 0 || column >= len(row) {
		return ""
	}
	return row[column]
}

// same tells whether a cell holds a value, however the number is written.
func same(cell, value string) bool {
	return sameText(strings.Replace(cell, ",", ".", 1), value) || cell == value
}

// Write puts the draft's sheets in the place of those on disk, each as a whole.
// It fails with ErrChanged if one has changed since the draft was begun, and with
// ErrOpen while a spreadsheet program seems to have one open.
func (d *Draft) Write() error {
	for _, name := range []string{CountsSheet, HarvestSheet, MovesSheet} {
		s := d.sheets[name]
		if s.after == nil || bytes.Equal(s.before, s.after) {
			continue
		}
		if lock := lockOf(d.dir, s.file); lock != "" {
			return fmt.Errorf("%s %w: close it, without saving what you have not changed; or remove %s if nothing has it open", s.file, ErrOpen, lock)
		}
		if err := replaceFile(filepath.Join(d.dir, s.file), s.before, s.after); err != nil {
			return fmt.Errorf("write %s: %w", s.file, err)
		}
		s.before, s.after = s.after, nil
	}
	return nil
}

// ErrOpen and ErrChanged say why a draft can't be written now.
var (
	ErrOpen    = errors.New("is open in a spreadsheet program, whose next save would undo what is written meanwhile")
	ErrChanged = errors.New("the file has changed meanwhile")
)

// lockOf is the file by which a spreadsheet program shows that it has another
// one open (common practice, no source); "" where there is none.
func lockOf(dir, file string) string {
	marks := []string{".~lock." + file + "#", "~$" + file}
	for cut := 1; cut <= 2; cut++ { // in longer names the mark takes the place of letters
		marks = append(marks, "~$"+file[cut:])
	}
	for _, mark := range marks {
		if _, err := os.Lstat(filepath.Join(dir, mark)); err == nil {
			return mark
		}
	}
	return ""
}
