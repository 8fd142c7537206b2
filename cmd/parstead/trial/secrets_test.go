package trial_test

import (
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"parstead/cmd/parstead/trial"
)

// A code that can be guessed is refused, and a secret that every user of the
// machine can read is told.
func TestSecrets(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		code string
		mode os.FileMode
		says string // "" for nothing
	}{
		{"abc", 0o600, "error: code_file: the code has 3 letters and digits"},
		{"a-b-c-1", 0o600, "error: code_file: the code has 4 letters and digits"},
		{"wet-hands-7", 0o600, ""},
		{"123456", 0o600, "warning: code_file: the code is one sign again and again, or signs that follow"},
		{"aaa-aaa", 0o600, "warning: code_file: the code is one sign again and again"},
		{"Pass-word", 0o600, "warning: code_file: the code is among the first"},
		{"wet-hands-7", 0o644, "warning: code_file: every user of this machine can read"},
	} {
		if runtime.GOOS == "windows" && c.mode != 0o600 {
			continue
		}
		dir := folder(t, edit{"trial.toml", "", "\n[page]\ncode_file = \"entry-code\"\n"})
		path := filepath.Join(dir, "entry-code")
		if err := os.WriteFile(path, []byte(c.code+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(path, c.mode); err != nil {
			t.Fatal(err)
		}
		_, problems := trial.Load(dir)
		lines := strings.Join(told(problems), "\n")
		if c.says == "" && lines != "" || !strings.Contains(lines, c.says) {
			t.Errorf("%s, %o: %s", c.code, c.mode, lines)
		}
	}
}

// A plant's code that a spreadsheet would take for a formula is refused.
func TestCodesThatAreFormulas(t *testing.T) {
	t.Parallel()
	for _, code := range []string{"=A1", "+A1", "-A1", "@A1"} {
		_, problems := trial.Load(folder(t, edit{"plants.csv", "A1,one,1.25", code + ",one,1.25"}, edit{"layout.csv", "A1,upper", code + ",upper"}))
		if lines := strings.Join(told(problems), "\n"); strings.Count(lines, "would take the plant's code "+code+" for a formula") != 2 {
			t.Errorf("%s: %s", code, lines)
		}
	}
}
