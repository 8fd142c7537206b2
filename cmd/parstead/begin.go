package main

import (
	"fmt"
	"path/filepath"

	"parstead/cmd/parstead/trial"
	"parstead/light"
)

// beginCmd writes a commented starter trial.
type beginCmd struct {
	Folder string `arg:"" help:"The folder to write into; made if it is not there."`
}

// Help is what begin --help says beside its options.
func (beginCmd) Help() string {
	return `Writes trial.toml, plants.csv and survey.csv, ready to be changed. Nothing that is
there already is overwritten. The trial starts today and lasts twelve weeks.

Example: parstead begin mytrial

Exit status: 0 done, 1 a fault.`
}

// Run writes the files and says what comes next.
func (c *beginCmd) Run(e *env) error {
	files, err := trial.Begin(c.Folder, light.DateOf(e.now()))
	if err != nil {
		return err
	}
	for _, file := range files {
		fmt.Fprintln(e.stdout, filepath.Join(c.Folder, file))
	}
	_, err = fmt.Fprintf(e.stdout, "Next: change %s to your trial, then ask: parstead check %s\n",
		filepath.Join(c.Folder, "trial.toml"), c.Folder)
	return err
}
