package main

import (
	"fmt"
	"path/filepath"

	"parstead/cmd/parstead/trial"
	"parstead/light/account"
	"parstead/store"
)

// checkCmd tells everything that is wrong with a trial's files, at once.
type checkCmd struct {
	Folders []string `arg:"" name:"folder" help:"The trial's folder, or several that are watched side by side."`
	JSON    bool     `name:"json" help:"Print an array of {file,line,column,level,says,mend}; residual where a survey's row is far off."`
}

// Help is what check --help says beside its options.
func (checkCmd) Help() string {
	return `Prints one line for each problem: file:line:column: level: what is wrong; how to
mend it. Where many in one file are mended alike, the later ones are told by
their lines alone; --json spells out all. Reads only.

Of several folders it also tells where their racks would be in one another's way: at
one address, with one client_id at a broker, or counting the same light sensor.

Example: parstead check mytrial
         parstead check /srv/parstead/*

Exit status: 0 no error (there may be warnings), 1 any error.`
}

// Run prints the problems.
func (c *checkCmd) Run(e *env) error {
	var all []trial.Problem
	var usable []*trial.Trial
	for _, folder := range c.Folders {
		t, problems := trial.Load(folder)
		if trial.Usable(problems) {
			problems = append(problems, t.Ahead(e.now())...)
			problems = append(problems, surveyDoubts(e, t)...)
			usable = append(usable, t)
		}
		if len(c.Folders) > 1 {
			for i := range problems {
				problems[i].File = filepath.Join(folder, problems[i].File)
			}
		}
		all = append(all, problems...)
	}
	all = append(all, trial.Beside(usable)...)
	if err := printProblems(e, all, c.JSON); err != nil {
		return err
	}
	if !trial.Usable(all) {
		return errSaid
	}
	return nil
}

// surveyDoubts are warnings about rows of the survey that its other rows, the bins'
// sensors or the calendar contradict.
func surveyDoubts(e *env, t *trial.Trial) []trial.Problem {
	if len(t.Rack.Survey) == 0 {
		return nil
	}
	walks, err := surveyed(e, t)
	if err != nil {
		return []trial.Problem{{
			File: store.FileName, Level: trial.LevelWarning,
			Says: "the survey could not be set against what the sensors read: " + err.Error(), Mend: "mend this, and check again",
		}}
	}
	var list []trial.Problem
	for _, d := range walks.Doubts {
		list = append(list, trial.Problem{
			File: d.Line.File, Line: d.Line.Line, Level: trial.LevelWarning, Says: d.Says, Mend: d.Mend, Residual: d.Off,
		})
	}
	return list
}

func surveyed(e *env, t *trial.Trial) (*account.Surveyed, error) {
	view, err := store.OpenFolder(e.ctx, t.Dir)
	if err != nil {
		return nil, err
	}
	defer view.Close() //nolint:errcheck // it only read
	return account.New(&t.Rack, view, account.Options{Now: e.now}).Surveyed(e.ctx)
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
