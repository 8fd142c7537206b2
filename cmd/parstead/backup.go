package main

import (
	"fmt"
	"os"

	"parstead/cmd/parstead/backup"
)

// backupCmd copies a trial into one file.
type backupCmd struct {
	Folder string `arg:"" help:"The trial's folder."`
	File   string `arg:"" help:"The file to write, such as mytrial.zip; it must not be there."`
}

// Help is what backup --help says beside its options.
func (backupCmd) Help() string {
	return `Copies the trial into one zip file: readings and log as they stand at one moment,
trial.toml, the sheets (.csv, .xlsx) and the spectra that trial.toml names. The
file is read back before it gets its name. A daemon may run meanwhile.

Not in it: passwords, codes and keys (a stick is easily lost), reports, and other
files. Put those back by hand after parstead restore.

[backup] in trial.toml makes the daemon do this every night.

Example: parstead backup mytrial mytrial.zip

Exit status: 0 done, 1 a fault, 2 a command line that can't be meant.`
}

// Run writes the file.
func (c *backupCmd) Run(e *env) error {
	readings, err := backup.Write(e.ctx, c.Folder, c.File, e.now())
	if err != nil {
		return err
	}
	info, err := os.Stat(c.File)
	if err != nil {
		return fmt.Errorf("look at the backup: %w", err)
	}
	without := ""
	if !readings {
		without = "; it holds no readings, since none were ever kept in " + c.Folder
	}
	_, err = fmt.Fprintf(e.stdout, "%s: %.1f MB, read back and found whole%s\n", c.File, float64(info.Size())/1e6, without)
	return err
}
