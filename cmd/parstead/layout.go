package main

import (
	crypto "crypto/rand"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"parstead/cmd/parstead/harvest"
	"parstead/cmd/parstead/layout"
	"parstead/cmd/parstead/trial"
	"parstead/correlate/tables"
	"parstead/store"
)

// layoutCmd deals plants to positions and treatments to plants.
type layoutCmd struct {
	Folder string  `arg:"" help:"The trial's folder, with plants.csv."`
	Seed   *uint64 `placeholder:"N" help:"Of the deal; drawn and kept unless given."`
}

// Help is what layout --help says beside its options.
func (layoutCmd) Help() string {
	return `Deals the plants of plants.csv to positions at random and writes layout.csv:
plants of like starting size in sets on positions of like light (by survey.csv;
without one, around the rim and through the rows), every treatment once in each
set, balanced within bins and blocks. Treatments set per bin or reservoir go to
whole bins or reservoirs within blocks, and only to those that can have the level
(only_bins); given ones are never dealt. Plants with yes under "guard" go to the
rim, corners first, and get no treatment. What each bin got is printed, with what
the trial as dealt can't settle.

The seed, the procedure and the planned outcomes are sealed in the trial's log.
A layout that is there already is never replaced.

Example: parstead layout mytrial

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run deals, seals the plan and writes layout.csv.
func (c *layoutCmd) Run(e *env) error {
	t, err := trial.Open(c.Folder)
	if err != nil {
		return err
	}
	if t.Dealt {
		return fmt.Errorf("%s has a layout already, which is never replaced: move it away to deal anew", c.Folder)
	}
	seed, err := seedOr(c.Seed)
	if err != nil {
		return err
	}
	dealt, err := layout.Deal(t, seed)
	if err != nil {
		return err
	}
	event, err := harvest.Plan(t, dealt.Record).Event(e.now())
	if err != nil {
		return err
	}
	if err := dealt.Write(t); err != nil {
		return err
	}
	if _, err := store.AddEvent(e.ctx, c.Folder, store.Options{Now: e.now}, event); err != nil {
		if gone := os.Remove(t.Path(layout.File)); gone != nil {
			return fmt.Errorf("%w; remove %s, which the log knows nothing of", err, layout.File)
		}
		return err
	}
	return c.tell(e, t, dealt)
}

// seedOr is the seed that was given, else one that is drawn.
func seedOr(given *uint64) (uint64, error) {
	if given != nil {
		return *given, nil
	}
	var b [8]byte
	if _, err := crypto.Read(b[:]); err != nil {
		return 0, fmt.Errorf("draw a seed: %w", err)
	}
	return binary.LittleEndian.Uint64(b[:]) >> 11, nil // short enough for any program to read back
}

// tell prints what was dealt to each bin and what is to be done now.
func (c *layoutCmd) tell(e *env, t *trial.Trial, l *layout.Layout) error {
	guards := 0
	for _, p := range l.Plan.Plants {
		if p.Guard {
			guards++
		}
	}
	among := ""
	if guards > 0 {
		among = fmt.Sprintf(", %d of them guards", guards)
	}
	fmt.Fprintf(e.stdout, `%d plants dealt to %d bins%s; written to %s.
%s
Seed %d. The seed, the procedure and the planned outcomes are sealed in the log.

`, len(l.Plan.Plants), len(l.Plan.Bins), among, filepath.Join(c.Folder, layout.File), l.Record.Procedure, l.Record.Seed)
	lines := tables.NewLines(e.stdout)
	for _, bin := range l.Bins(t) {
		lines.Wrapped("  ", "      ", bin.Name+": "+bin.Gets)
	}
	if err := lines.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(e.stdout, `
Next: hang the lamps and set the timers so, switched off at the plug; then put
each plant where the file says and give it what the file says (labels:
parstead sheet %[1]s labels --treatments), then parstead run %[1]s.
`, c.Folder)
	if err != nil {
		return err
	}
	// The layout has just been written: what it can't settle shows only now.
	_, problems := trial.Load(c.Folder)
	for _, line := range trial.Lines(slices.DeleteFunc(problems, func(p trial.Problem) bool { return !p.OfDesign })) {
		fmt.Fprintln(e.stderr, line)
	}
	return nil
}
