package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The drill of README runs as it is written there, also where the trial has an entry
// code: what restore says is put back by hand before the next line.
func TestRestoreDrill(t *testing.T) {
	t.Parallel()
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, drill, ok := strings.Cut(string(readme), "Practise once before you need it:\n\n")
	drill, _, _ = strings.Cut(drill, "\n\n")
	if !ok || strings.Count(drill, "parstead ") != 4 {
		t.Fatalf("the drill is %q", drill)
	}
	for _, code := range []bool{false, true} {
		dir, stick := rackFolder(t, march, ownBroker), t.TempDir()
		must(t, march, airRows(), "import", dir, "-")
		if code {
			withCode(t, dir)
		}
		again := filepath.Join(t.TempDir(), "again")
		said, out := "", ""
		for line := range strings.Lines(drill) {
			line, _, _ = strings.Cut(line, "#")
			if strings.Contains(line, "parstead check") && code {
				if !strings.Contains(said, "put back by hand entry-code (") {
					t.Errorf("restore doesn't say what to put back: %s", said)
				}
				if err := os.Link(filepath.Join(dir, "entry-code"), filepath.Join(again, "entry-code")); err != nil {
					t.Fatal(err)
				}
			}
			for one := range strings.SplitSeq(line, "&&") {
				words := strings.Fields(one)
				for i, word := range words {
					word = strings.Replace(word, "/media/stick", stick, 1)
					switch word {
					case "mytrial":
						word = dir
					case "again":
						word = again
					}
					words[i] = word
				}
				out = must(t, march, "", words[1:]...)
				said += out
			}
		}
		if strings.Contains(said, "put back") != code || !strings.Contains(out, "Daily light integral") {
			t.Errorf("with a code %v: %s", code, said)
		}
	}
}

// withCode gives a trial an entry code.
func withCode(t *testing.T, dir string) {
	t.Helper()
	file := filepath.Join(dir, "trial.toml")
	text, err := os.ReadFile(file)
	coded := strings.Replace(string(text), "[page]\n", "[page]\ncode_file = \"entry-code\"\n", 1)
	if err == nil && coded == string(text) {
		t.Fatal("the trial has no [page]")
	}
	if err == nil {
		err = os.WriteFile(file, []byte(coded), 0o600)
	}
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, "entry-code"), []byte("wet-hands-7\n"), 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
}
