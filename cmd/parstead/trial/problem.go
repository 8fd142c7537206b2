package trial

import (
	"cmp"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"parstead/cmd/parstead/cells"
)

// The levels of a problem.
const (
	LevelError   = "error"   // the trial can't be used before it is mended
	LevelWarning = "warning" // worth knowing
)

// Problem is one thing that is wrong with a trial's folder.
type Problem struct {
	File   string `json:"file"`   // in the folder; "" for the folder itself
	Line   int    `json:"line"`   // from 1; 0 where the file as a whole is meant
	Column int    `json:"column"` // from 1, in characters (csv, toml) or cells (xlsx); 0 where the line is meant
	Level  string `json:"level"`
	Says   string `json:"says"`
	Mend   string `json:"mend"`

	Residual float64 `json:"residual,omitempty"` // of a survey's row: natural log of its reading over what the other rows expect

	OnlyToRun bool   `json:"-"` // an error for the daemon; other commands don't need what is wrong
	OfDesign  bool   `json:"-"` // what the trial as it is planned can't settle
	Wants     string `json:"-"` // the file that is not there, as trial.toml names it
}

// Error is the problem in one line.
func (p Problem) Error() string {
	return fmt.Sprintf("%s: %s: %s; %s", p.place(), p.Level, p.Says, p.Mend)
}

func (p Problem) place() string {
	switch {
	case p.File == "":
		return "folder"
	case p.Line == 0:
		return p.File
	case p.Column == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	default:
		return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Column)
	}
}

// Usable tells whether no problem is an error.
func Usable(problems []Problem) bool {
	return !slices.ContainsFunc(problems, func(p Problem) bool { return p.Level == LevelError })
}

// place is where a problem lies.
type place struct {
	file         string
	line, column int
}

// problems gathers what is wrong.
type problems struct{ list []Problem }

func (p *problems) fault(at place, says, mend string) {
	p.list = append(p.list, Problem{File: at.file, Line: at.line, Column: at.column, Level: LevelError, Says: says, Mend: mend})
}

// faultToRun is a fault that stands in the way of the daemon alone.
func (p *problems) faultToRun(at place, says, mend string) {
	p.fault(at, says, mend)
	p.list[len(p.list)-1].OnlyToRun = true
}

func (p *problems) warn(at place, says, mend string) {
	p.list = append(p.list, Problem{File: at.file, Line: at.line, Column: at.column, Level: LevelWarning, Says: says, Mend: mend})
}

// unreadable tells why a file could not be read.
func (p *problems) unreadable(file string, err error) {
	at := place{file: file, line: 1, column: 1}
	says, mend := err.Error(), "save it again"
	if f, ok := errors.AsType[*cells.Fault](err); ok {
		at.line, at.column, says, mend = f.Line, f.Column, f.Says, f.Mend
	}
	p.fault(at, says, mend)
}

// cutMend parts an error of one line into what is wrong and how to mend it; the
// usual mend serves where it says none.
func cutMend(err error, usual string) (says, mend string) {
	says, mend, ok := strings.Cut(err.Error(), ": write ")
	if !ok {
		return says, usual
	}
	return says, "write " + mend
}

// sorted lists the problems by file, line and column, each once. A file comes
// before those whose mistakes may only follow from its own.
func (p *problems) sorted() []Problem {
	slices.SortStableFunc(p.list, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(depth(a.File), depth(b.File)), cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return slices.Compact(p.list)
}

// depth is how many files a file rests on.
func depth(file string) int {
	name := strings.TrimSuffix(file, filepath.Ext(file))
	switch kind := kindOfSheet(name); {
	case name == "":
		return 0
	case name == "trial":
		return 1
	case kind != nil:
		return kind.rests
	default:
		return 4
	}
}
