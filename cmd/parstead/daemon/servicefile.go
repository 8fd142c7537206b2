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

// WriteServiceFile writes a service file for systemd that runs this program on
// the folder; "" stands for an example.
func WriteServiceFile(w io.Writer, folder string) error {
	unit := struct{ Program, Folder, Name, Backups string }{Folder: placeholder, Name: "a trial"}
	if folder != "" {
		t, err := trial.Open(folder)
		if err != nil {
			return err
		}
		unit.Folder, unit.Name = absolute(folder), strings.Join(strings.Fields(t.Name), " ")
		if t.Backup != nil {
			unit.Backups = absolute(t.Backup.Folder)
		}
	}
	if strings.ContainsFunc(unit.Folder+unit.Backups, unicode.IsControl) {
		return fmt.Errorf("the folder %q can't stand in a service file: rename it", unit.Folder)
	}
	var err error
	if unit.Program, err = os.Executable(); err == nil {
		unit.Program, err = filepath.EvalSymlinks(unit.Program)
	}
	if err != nil {
		return fmt.Errorf("find this program's own file: %w", err)
	}
	if strings.HasPrefix(unit.Program, os.TempDir()) { // go run: gone when the service starts
		unit.Program = "/usr/local/bin/parstead"
	}
	unit.Name = strings.ReplaceAll(unit.Name, "%", "%%")
	page, err := template.New("service").Funcs(template.FuncMap{
		"path": unitWord,
		"exec": func(s string) string { return strings.ReplaceAll(unitWord(s), "$", "$$") },
	}).Parse(serviceFile)
	if err != nil {
		return fmt.Errorf("read the service file's template: %w", err)
	}
	return page.Execute(w, unit)
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
