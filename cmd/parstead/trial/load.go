package trial

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	_ "time/tzdata" // light days are cut in local time also where the system has no zones
)

// configFile is the file that makes a folder a trial.
const configFile = "trial.toml"

// loader fills a trial and gathers what is wrong with it.
type loader struct {
	problems
	*Trial
	doc   *document
	feeds []feed // one for each [[sensor]], in order
	roster
	harvest *sheet            // nil where there is none
	drafts  map[string][]byte // read in place of the folder's files of these names
}

// Load reads the trial in a folder and lists everything that is wrong with it,
// by file, line and column. The trial is nil only if trial.toml could not be
// read; it may be used only if Usable says so.
func Load(dir string) (*Trial, []Problem) { return load(dir, nil) }

func load(dir string, drafts map[string][]byte) (*Trial, []Problem) {
	l := &loader{Trial: &Trial{Dir: dir}, drafts: drafts}
	text, err := os.ReadFile(filepath.Join(dir, configFile))
	if err != nil {
		mend := "make the file readable"
		if errors.Is(err, fs.ErrNotExist) {
			mend = "name a trial's folder, or start one with: parstead begin FOLDER"
		}
		l.fault(place{file: configFile}, "the file can't be read: "+cause(err), mend)
		return nil, l.sorted()
	}
	doc, root, ok := parseDocument(configFile, text, &l.problems)
	if !ok {
		return nil, l.sorted()
	}
	l.doc = doc
	l.readConfig(root)
	l.readSheets()
	l.checkResultNames()
	l.warnings()
	return l.Trial, l.sorted()
}

// Open reads a trial for a command that needs no password, code or certificate:
// those in a file that is not there stop nobody. The error tells the first mistake
// and how many more there are.
func Open(dir string) (*Trial, error) { return open(dir, false) }

// OpenToRun reads a trial for what connects and listens: nothing may be wrong.
func OpenToRun(dir string) (*Trial, error) { return open(dir, true) }

func open(dir string, toRun bool) (*Trial, error) {
	t, list := Load(dir)
	var faults []Problem
	for _, p := range list {
		if p.Level == LevelError && (toRun || !p.OnlyToRun) {
			faults = append(faults, p)
		}
	}
	switch n := len(faults); n {
	case 0:
		return t, nil
	case 1:
		return nil, faults[0]
	default:
		return nil, fmt.Errorf("%w (and %d more: parstead check %s)", faults[0], n-1, dir)
	}
}

// cause is what an error of the file system says without the path.
func cause(err error) string {
	if path, ok := errors.AsType[*fs.PathError](err); ok {
		return path.Err.Error()
	}
	return err.Error()
}
