package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"parstead/cmd/parstead/backup"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/phrase"
	"parstead/store"
)

// restoreCmd brings a trial back out of a backup, or readings out of a damaged
// database.
type restoreCmd struct {
	File    string `arg:"" help:"The backup; with --salvage the damaged database."`
	Folder  string `arg:"" help:"The folder to restore into; it must be empty or not be there. With --salvage: the trial's folder, which must have no readings.db."`
	Salvage bool   `help:"Take what can be read out of a damaged database. The damaged file is only read."`
}

// Help is what restore --help says beside its options.
func (restoreCmd) Help() string {
	return `Brings a trial back out of a file of parstead backup. All of it is checked before
the folder is there. Passwords, codes and keys are not in a backup: put them back
by hand, then ask parstead check.

When a daemon says that the database is damaged, end it, set the file aside and
restore the newest backup; or see what can still be read:
  mv mytrial/readings.db damaged.db
  parstead restore --salvage damaged.db mytrial
What the backup has and the salvage lacks can be joined: export the one, import
its readings.csv into the other; what is there twice counts once.

Example: parstead restore mytrial.zip mytrial-again

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run restores or salvages.
func (c *restoreCmd) Run(e *env) error {
	if c.Salvage {
		return c.salvage(e)
	}
	made, err := backup.Restore(e.ctx, c.File, c.Folder)
	if err != nil {
		return fmt.Errorf("restore: %w", err)
	}
	next := "parstead check " + c.Folder
	var wanted []string
	_, problems := trial.Load(c.Folder)
	for _, p := range problems {
		if p.Wants != "" && !slices.Contains(wanted, p.Wants) {
			wanted = append(wanted, p.Wants)
		}
	}
	if wanted != nil {
		next = "put back by hand " + phrase.List(wanted) + " (no backup holds passwords, codes and keys), then " + next
	}
	_, err = fmt.Fprintf(e.stdout, "%s: as it was on %s, checked. Next: %s\n", c.Folder, made.UTC().Format(time.RFC3339), next)
	return err
}

// salvage fills a folder that has no database with what a damaged one still
// holds.
func (c *restoreCmd) salvage(e *env) error {
	if _, err := os.Stat(filepath.Join(c.Folder, "trial.toml")); err != nil {
		return fmt.Errorf("%s holds no trial.toml: name the folder of the trial that the database is of", c.Folder)
	}
	found, err := store.Salvage(e.ctx, c.File, filepath.Join(c.Folder, store.FileName))
	if err != nil {
		return err
	}
	return tellSalvaged(e.stdout, found, c.Folder)
}

func tellSalvaged(w io.Writer, s store.Salvaged, folder string) error {
	_, err := fmt.Fprintf(w, "salvaged: %d readings of %d sensors, %d entries of the log\nrecords that could not be read: %d\n",
		s.Readings, s.Sensors, s.Events, s.Unreadable)
	if len(s.Unnamed) > 0 && err == nil {
		_, err = fmt.Fprintf(w, "The names of %d sensors are lost; their readings stand under %s.\n", len(s.Unnamed), strings.Join(s.Unnamed, ", "))
	}
	if s.Unreadable > 0 && err == nil {
		_, err = fmt.Fprintf(w, `One record may hold a sensor's readings of a week. What the newest backup has of
them comes back so:
    parstead restore BACKUP old
    parstead export old old-files
    parstead import %s old-files/readings.csv
`, folder)
	}
	return err
}
