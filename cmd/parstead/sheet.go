package main

import (
	"bufio"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"parstead/cmd/parstead/atomicfile"
	"parstead/cmd/parstead/sheets"
	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// sheetCmd writes what a grower prints and fills in.
type sheetCmd struct {
	Folder string `arg:"" type:"path" help:"The trial's folder."`
	Kind   string `arg:"" enum:"survey,labels,count,harvest" help:"survey, labels, count or harvest."`

	Dir        string   `type:"path" placeholder:"DIR" help:"Write there; left out: into the trial's folder."`
	Reads      string   `placeholder:"UNIT" help:"survey: what the meter shows, ppfd or lux; left out: as in the last survey."`
	Stock      string   `placeholder:"NAME" help:"labels: a4-65 (38.1 × 21.2 mm, the usual), a4-24 (70 × 37), a4-21 (63.5 × 38.1), letter-30 (66.7 × 25.4), letter-80 (44.5 × 12.7)."`
	Treatments bool     `help:"labels: show what each plant gets. Whoever scores it later then sees it too."`
	Outcome    []string `sep:"none" placeholder:"NAME" help:"count, harvest: this outcome; may be repeated. Left out: those that fit."`
	Seed       *uint64  `placeholder:"N" help:"count, harvest: of the order; drawn and printed unless given."`
	NoPlaces   bool     `help:"count, harvest: leave out where plants stand; another hand brings them."`
	At         string   `placeholder:"TIME" help:"count: the time to write into every line of the CSV file."`
	Tare       bool     `help:"harvest: weigh in a dish: gross and tare of every mass."`
	Again      bool     `help:"harvest: weigh every measure twice."`
}

// Help is what sheet --help says beside its options.
func (sheetCmd) Help() string {
	return `Writes a sheet in two forms, named by what it is and by the day: HTML to print
(A4 or letter) and write on by hand, and CSV with the columns of the trial's own
sheet to type it into. A file that is there already is never replaced.

  survey   a walk over every position, row by row, there and back
  labels   one a plant: its code and its place
  count    plants in a shuffled order, a blank for each outcome
  harvest  the same, with what became of the plant

Lists to score by show no treatment, and leave out guards and plants that have a
line in harvest.csv. Once filled in, the CSV file becomes survey.csv, counts.csv
or harvest.csv; where that is there already, it gets the same columns and its
lines go below the others.

Examples:
  parstead sheet mytrial survey
  parstead sheet mytrial labels --stock letter-30
  parstead sheet mytrial count --at "2026-05-04 10:00"
  parstead sheet mytrial harvest --tare --seed 7

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run writes both files.
func (c *sheetCmd) Run(e *env) error {
	kind := sheets.Kinds[slices.IndexFunc(sheets.Kinds, func(k *sheets.Kind) bool { return k.Name == c.Kind })]
	if err := c.usage(kind); err != nil {
		return err
	}
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	day := light.DateOf(e.now().In(t.Rack.Zone))
	o, err := c.options(day)
	if err != nil {
		return err
	}
	sheet, err := kind.Make(t, o)
	if err != nil {
		return err
	}
	becomes := becomes(kind.Becomes, t, sheet)
	dir := c.Dir
	if dir == "" {
		dir = c.Folder
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return fmt.Errorf("make the folder: %w", err)
	}
	path := filepath.Join(dir, fmt.Sprintf("sheet-%s-%s", c.Kind, day))
	page, table := path+".html", path+".csv"
	for _, name := range []string{page, table} {
		if _, err := os.Lstat(name); !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("%s is there already and is never replaced: move it away, or write elsewhere with --dir", name)
		}
	}
	if err := atomicfile.Create(page, 0o600, func(w *bufio.Writer) error { return sheet.WriteHTML(w) }); err != nil {
		return err
	}
	if err := atomicfile.Create(table, 0o600, func(w *bufio.Writer) error { return sheet.WriteCSV(w) }); err != nil {
		return errors.Join(err, os.Remove(page))
	}
	for _, r := range sheet.Remarks {
		fmt.Fprintln(e.stderr, "parstead:", r)
	}
	_, err = fmt.Fprintf(e.stdout, "%s: to print\n%s: %d lines%s\n", page, table, len(sheet.Rows), becomes)
	return err
}

// options are what the command line says of how the sheet is made.
func (c *sheetCmd) options(day light.Date) (o sheets.Options, err error) {
	if c.Reads != "" {
		if o.Reads, err = light.ParseQuantity(c.Reads); err != nil || !o.Reads.IsLight() {
			return o, usageError{fmt.Sprintf("--reads can't be %q: use ppfd or lux", c.Reads)}
		}
	}
	seed, err := seedOr(c.Seed)
	o.Stock, o.Treatments = c.Stock, c.Treatments
	o.Scoring = sheets.Scoring{Seed: seed, Outcomes: c.Outcome, NoPlaces: c.NoPlaces, At: c.At, Tare: c.Tare, Again: c.Again, Printed: day}
	return o, err
}

// becomes says what the filled in CSV file is for, and gives it the columns of the
// sheet that is there already.
func becomes(name string, t *trial.Trial, sheet *sheets.Sheet) string {
	if name == "" {
		return ", for a label printer"
	}
	there := t.Headings(name)
	if there == nil {
		return " to fill in; it becomes " + name + ".csv"
	}
	if lacking := sheet.Follow(there); len(lacking) > 0 {
		sheet.Remarks = append(sheet.Remarks, fmt.Sprintf("The %s sheet has no column %s: write the name behind its other headings before lines of this one go below.", name, strings.Join(lacking, ", ")))
	}
	return " to fill in; they go below those of the " + name + " sheet, column by column"
}

// usage finds flags that belong to another kind of sheet.
func (c *sheetCmd) usage(kind *sheets.Kind) error {
	for _, flag := range []struct {
		name  string
		given bool
	}{
		{"--reads", c.Reads != ""},
		{"--stock", c.Stock != ""},
		{"--treatments", c.Treatments},
		{"--outcome", len(c.Outcome) > 0},
		{"--seed", c.Seed != nil},
		{"--no-places", c.NoPlaces},
		{"--at", c.At != ""},
		{"--tare", c.Tare},
		{"--again", c.Again},
	} {
		if flag.given && !slices.Contains(kind.Flags, flag.name) {
			return usageError{fmt.Sprintf("%s belongs to sheet %s, not to %s", flag.name, strings.Join(sheets.With(flag.name), " or "), c.Kind)}
		}
	}
	return nil
}
