package trial

import (
	"os"
	"slices"

	"parstead/cmd/parstead/cells"
)

// sheetKind is one of the sheets of a trial's folder.
type sheetKind struct {
	name   string
	needed []string                               // its columns
	known  func(*loader) []string                 // columns that it may have; nil: any
	read   func(l *loader, s *sheet, broken bool) // handed nil where there is none; broken: none that can be read
	rests  int                                    // how many files its lines rest on: their mistakes are told first
	entry  entryKind
}

// entryKind is how values come into a sheet that aren't written there by hand.
type entryKind struct {
	headings []string                              // those that it is begun with; nil: nothing is entered in it
	perPlant bool                                  // what is entered of a plant goes into its line; else each is a line of its own
	says     func(values map[string]string) string // words for the log; nil: each cell is named
}

// sheetKinds are the sheets in the order in which they need one another.
var sheetKinds = []*sheetKind{&surveySheet, &plantsSheet, &layoutSheet, &harvestSheet, &countsSheet, &movesSheet}

// kindOfSheet finds a kind by its name; nil if there is none.
func kindOfSheet(name string) *sheetKind {
	for _, k := range sheetKinds {
		if k.name == name {
			return k
		}
	}
	return nil
}

func remarks(*loader) []string { return []string{"remarks"} }

// readSheets reads the folder's sheets.
func (l *loader) readSheets() {
	for _, k := range sheetKinds {
		var known []string
		if k.known != nil {
			known = k.known(l)
		}
		s, broken := l.openSheet(k.name, k.needed, known)
		k.read(l, s, broken)
	}
	for _, code := range l.order {
		l.Plants = append(l.Plants, l.plants[code].Plant)
	}
	l.Columns = l.columns
}

// OwnFiles are the files that the trial was read from, by their names in the folder:
// trial.toml, the sheets that are there, and spectra.
func (t *Trial) OwnFiles() []string {
	files := []string{configFile}
	for _, k := range sheetKinds {
		for _, ending := range cells.Endings {
			if _, err := os.Stat(t.Path(k.name + ending)); err == nil {
				files = append(files, k.name+ending)
			}
		}
	}
	for _, file := range t.Spectra {
		if !slices.Contains(files, file) {
			files = append(files, file)
		}
	}
	return files
}
