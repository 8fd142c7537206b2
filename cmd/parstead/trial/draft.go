package trial

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/cells"
)

// The sheets that entries are made in.
const (
	CountsSheet  = "counts"
	HarvestSheet = "harvest"
	MovesSheet   = "moves"
)

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
	trial    *Trial                 // as the draft now stands
	warnings []Problem
}

// ErrUnusable is wrapped by the error of NewDraft for a folder whose files have
// a mistake.
var ErrUnusable = errors.New("the trial's files have a mistake: nothing can be entered before it is mended")

// NewDraft begins a draft of the folder as it now lies on the disk.
func NewDraft(dir string) (*Draft, error) {
	d := &Draft{dir: dir, sheets: map[string]*draftSheet{}}
	for _, k := range sheetKinds {
		if k.entry.headings == nil {
			continue
		}
		s, err := readDraft(dir, k.name)
		if err != nil {
			return nil, err
		}
		d.sheets[k.name] = s
	}
	t, problems := load(dir, nil)
	if t == nil || !Usable(problems) {
		return nil, fmt.Errorf("%w: %w", ErrUnusable, firstError(problems))
	}
	d.trial, d.warnings = t, problems
	return d, nil
}

// Trial is the trial as the draft now stands.
func (d *Draft) Trial() *Trial { return d.trial }

// File is the sheet's name with its ending.
func (d *Draft) File(sheet string) string { return d.sheets[sheet].file }

func firstError(problems []Problem) error {
	i := slices.IndexFunc(problems, func(p Problem) bool { return p.Level == LevelError })
	return problems[i]
}

// readDraft reads whichever of NAME.csv and NAME.xlsx is there.
func readDraft(dir, name string) (*draftSheet, error) {
	for _, ending := range cells.Endings {
		file := name + ending
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

// Make adds changes to the draft, all or none of them, and gives them back with
// what stood in their cells before. Where a rule of check would be broken then,
// none is made: the error is that Problem. Remarks are warnings that follow from
// the changes.
func (d *Draft) Make(changes ...Change) (made []Change, remarks []Problem, err error) {
	drafts := d.drafts()
	for _, c := range changes {
		c, err := d.apply(c, drafts)
		if err != nil {
			return nil, nil, err
		}
		made = append(made, c)
	}
	t, problems := load(d.dir, drafts)
	if t == nil || !Usable(problems) {
		return nil, nil, firstError(problems)
	}
	for _, p := range problems {
		if !slices.ContainsFunc(d.warnings, func(q Problem) bool { return p.Says == q.Says }) {
			remarks = append(remarks, p)
		}
	}
	for _, c := range changes {
		s := d.sheets[c.Sheet]
		s.after = drafts[s.file]
	}
	d.trial, d.warnings = t, problems
	return made, remarks, nil
}

// apply makes a change in the drafts.
func (d *Draft) apply(c Change, drafts map[string][]byte) (made Change, err error) {
	text, err := d.open(c.Sheet, drafts)
	if err != nil {
		return c, err
	}
	defer func() { err = errors.Join(err, text.Close()) }()
	file := d.sheets[c.Sheet].file
	if made, err = c.apply(text); err != nil {
		return c, fmt.Errorf("change %s: %w", file, err)
	}
	if drafts[file], err = text.Bytes(); err != nil {
		return c, fmt.Errorf("change %s: %w", file, err)
	}
	return made, nil
}

// Again adds changes that may have been made before, by a program that ended
// before it could tell. done says whether the sheets now have them; false, with
// no error, means that somebody has changed a sheet otherwise since.
func (d *Draft) Again(changes ...Change) (done bool, err error) {
	var left []Change
	for _, c := range changes {
		stands, err := d.stands(c)
		if err != nil {
			return false, err
		}
		switch stands {
		case overwritten:
			return false, nil
		case due:
			left = append(left, c)
		}
	}
	if len(left) == 0 {
		return true, nil
	}
	_, _, err = d.Make(left...)
	return err == nil, err
}

// Undone tells whether a sheet is as it was before one of the changes, all of
// which have been made once.
func (d *Draft) Undone(changes ...Change) (bool, error) {
	for _, c := range changes {
		stands, err := d.stands(c)
		if err != nil {
			return false, err
		}
		if stands == due {
			return true, nil
		}
	}
	return false, nil
}

// stands tells whether the change's sheet has it.
func (d *Draft) stands(c Change) (standing, error) {
	text, err := d.open(c.Sheet, d.drafts())
	if err != nil {
		return 0, err
	}
	stands := c.stands(text.Rows())
	return stands, text.Close()
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

// open is a sheet's text with the drafts so far. A sheet that is not there yet
// is begun in the way of one that is.
func (d *Draft) open(name string, drafts map[string][]byte) (cells.Draft, error) {
	s, known := d.sheets[name]
	if !known {
		return nil, fmt.Errorf("%q is no sheet that entries are made in", name)
	}
	data, changed := drafts[s.file]
	if !changed {
		data = s.before
	}
	if data == nil {
		return d.begin(name)
	}
	return cells.Change(s.file, data)
}

func (d *Draft) begin(name string) (cells.Draft, error) {
	var like *cells.Text
	for _, other := range []string{"harvest", "counts", "layout", "plants"} {
		data, err := readFile(filepath.Join(d.dir, other+".csv"))
		if err != nil {
			continue // there may be none
		}
		if text, err := cells.OpenText(data); err == nil {
			like = text
			break
		}
	}
	return cells.NewText(like, kindOfSheet(name).entry.headings)
}

// Write puts the draft's sheets in the place of those on disk, each as a whole.
// The error is Unwritten. A sheet that has changed since the draft was begun is
// left, with ErrChanged, and so is one that a spreadsheet program seems to have
// open, with ErrOpen.
func (d *Draft) Write() error {
	failed := Unwritten{}
	for name, s := range d.sheets {
		if s.after == nil || bytes.Equal(s.before, s.after) {
			continue
		}
		if lock := lockOf(d.dir, s.file); lock != "" {
			failed[name] = fmt.Errorf("%s %w: close it, without saving what you have not changed; or remove %s if nothing has it open", s.file, ErrOpen, lock)
			continue
		}
		if err := s.replace(d.dir); err != nil {
			failed[name] = fmt.Errorf("write %s: %w", s.file, err)
			continue
		}
		s.before, s.after = s.after, nil
	}
	if len(failed) > 0 {
		return failed
	}
	return nil
}

// replace puts the draft in the place of the sheet, unless that has changed since
// it was read. A new one gets the owner and the rights of the trial's own file.
func (s *draftSheet) replace(dir string) error {
	path := filepath.Join(dir, s.file)
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target
	}
	old, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		old, err = os.Stat(filepath.Join(filepath.Dir(path), configFile))
	}
	if err != nil {
		return err
	}
	return atomicfile.Replace(path, s.after, old, func() error {
		now, err := readFile(path)
		switch {
		case errors.Is(err, fs.ErrNotExist) && s.before == nil:
			return nil
		case err != nil && !errors.Is(err, fs.ErrNotExist):
			return err
		case err != nil || s.before == nil || !bytes.Equal(now, s.before):
			return ErrChanged
		}
		return nil
	})
}

// Unwritten says why sheets could not be written, by their names; the others were.
type Unwritten map[string]error

func (u Unwritten) Error() string {
	var texts []string
	for _, err := range u.Unwrap() {
		texts = append(texts, err.Error())
	}
	return strings.Join(texts, "; ")
}

// Unwrap lists the errors by the names of their sheets.
func (u Unwritten) Unwrap() []error {
	var list []error
	for _, name := range slices.Sorted(maps.Keys(u)) {
		list = append(list, u[name])
	}
	return list
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
