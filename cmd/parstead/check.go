package main

import (
	"fmt"

	"parstead/cmd/parstead/trial"
)

// checkCmd tells everything that is wrong with a trial's files, at once.
type checkCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	JSON   bool   `name:"json" help:"Print an array of {file,line,column,level,says,mend}."`
}

// Help is what check --help says beside its options.
func (checkCmd) Help() string {
	return `Prints one line for each problem: file:line:column: level: what is wrong; how to
mend it. Where many in one file are mended alike, the later ones are told by
their lines alone; --json spells out all. Reads only.

Example: parstead check mytrial

Exit status: 0 no error (there may be warnings), 1 any error.`
}

// Run prints the problems.
func (c *checkCmd) Run(e *env) error {
	_, problems := trial.Load(c.Folder)
	if err := printProblems(e, problems, c.JSON); err != nil {
		return err
	}
	if !trial.Usable(problems) {
		return errSaid
	}
	return nil
}

func printProblems(e *env, problems []trial.Problem, asJSON bool) error {
	if asJSON {
		if problems == nil {
			problems = []trial.Problem{}
		}
		return printJSON(e.stdout, problems)
	}
	for _, line := range trial.Lines(problems) {
		if _, err := fmt.Fprintln(e.stdout, line); err != nil {
			return fmt.Errorf("print the problems: %w", err)
		}
	}
	return nil
}
