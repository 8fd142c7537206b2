package daemon

import (
	_ "embed"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"text/template"
	"unicode"

	"parstead/cmd/parstead/trial"
)

//go:embed parstead.service
var serviceFile string

// placeholder stands for the trial's folder where none is given.
const placeholder = "/srv/mytrial"

// Instances is the folder of the trials that one templated service watches, each by a
// daemon of its own.
const Instances = "/srv/parstead"

// unit is what a service file is made from.
type unit struct {
	Program, Folder, Name, Backups string
	Instances                      string // "" for a file of one folder
}

// WriteServiceTemplate writes a service file for systemd of which each instance, named
// parstead@NAME, runs a program on the folder NAME under Instances.
func WriteServiceTemplate(w io.Writer, program string) error {
	return unit{Program: program, Instances: Instances, Folder: Instances + "/%i", Name: "%i"}.write(w, func(s string) string { return s })
}

// WriteServiceFile writes a service file for systemd that runs this program on
// the folder; "" stands for an example.
func WriteServiceFile(w io.Writer, folder string) error {
	u := unit{Folder: placeholder, Name: "a trial"}
	if folder != "" {
		t, err := trial.Open(folder)
		if err != nil {
			return err
		}
		u.Folder, u.Name = absolute(folder), strings.Join(strings.Fields(t.Name), " ")
		if t.Backup != nil {
			u.Backups = absolute(t.Backup.Folder)
		}
	}
	if strings.ContainsFunc(u.Folder+u.Backups, unicode.IsControl) {
		return fmt.Errorf("the folder %q can't stand in a service file: rename it", u.Folder)
	}
	var err error
	if u.Program, err = os.Executable(); err == nil {
		u.Program, err = filepath.EvalSymlinks(u.Program)
	}
	if err != nil {
		return fmt.Errorf("find this program's own file: %w", err)
	}
	if strings.HasPrefix(u.Program, os.TempDir()) { // go run: gone when the service starts
		u.Program = "/usr/local/bin/parstead"
	}
	u.Name = strings.ReplaceAll(u.Name, "%", "%%")
	return u.write(w, unitWord)
}

// write fills the service file in; word makes a path a word of a unit file.
func (u unit) write(w io.Writer, word func(string) string) error {
	page, err := template.New("service").Funcs(template.FuncMap{
		"path": word,
		"exec": func(s string) string { return strings.ReplaceAll(word(s), "$", "$$") },
	}).Parse(serviceFile)
	if err != nil {
		return fmt.Errorf("read the service file's template: %w", err)
	}
	return page.Execute(w, u)
}

// unitWord quotes a word of a unit file (systemd.syntax(7)): % begins a
// specifier, \ an escape, blanks end a word.
func unitWord(s string) string {
	s = strings.NewReplacer(`\`, `\\`, `"`, `\"`, "%", "%%").Replace(s)
	if strings.ContainsAny(s, " \t\"\\';") {
		return `"` + s + `"`
	}
	return s
}
