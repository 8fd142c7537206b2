package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
)

// eachCommand calls f with every command's name and help text.
func eachCommand(t *testing.T, f func(name, help string)) {
	t.Helper()
	var cli commands
	parser, err := kong.New(&cli, kong.Vars{"version": ""})
	if err != nil {
		t.Fatal(err)
	}
	for _, node := range parser.Model.Children {
		f(node.Name, must(t, march, "", node.Name, "--help"))
	}
}

// examples are the command lines of a help text, split as a shell would.
func examples(help string) (lines [][]string) {
	help = strings.ReplaceAll(help, "\\\n", " ")
	for line := range strings.Lines(help) {
		line = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(line), "Example:"))
		command, ok := strings.CutPrefix(line, "parstead ")
		if !ok || strings.HasPrefix(command, "<") {
			continue
		}
		var words []string
		for i, part := range strings.Split(command, `"`) {
			if i%2 == 1 {
				words = append(words, part)
				continue
			}
			words = append(words, strings.Fields(part)...)
		}
		lines = append(lines, words)
	}
	return lines
}

// What is asked for comes on stdout, fits a terminal, and shows an example that
// the program takes and its exit statuses.
func TestHelp(t *testing.T) {
	t.Parallel()
	narrow(t, must(t, march, "", "--help"))
	if bare := must(t, march, ""); bare != must(t, march, "", "--help") {
		t.Error("without a command the help is another")
	}
	eachCommand(t, func(name, help string) {
		narrow(t, help)
		if !strings.Contains(help, "Exit status: 0 ") {
			t.Errorf("%s --help doesn't tell exit statuses", name)
		}
		var own int
		for _, words := range examples(help) {
			var cli commands
			parser, err := kong.New(&cli, kong.Vars{"version": ""})
			if err != nil {
				t.Fatal(err)
			}
			if _, err := parser.Parse(words); err != nil {
				t.Errorf("%s --help: parstead %q: %v", name, words, err)
			}
			if words[0] == name {
				own++
			}
		}
		if own == 0 {
			t.Errorf("%s --help has no example", name)
		}
	})
}

// The examples do what they say: those that are cheap are run on a starter trial,
// in the order of a trial's life.
func TestExamplesOfHelp(t *testing.T) {
	t.Parallel()
	help := map[string][][]string{}
	eachCommand(t, func(name, text string) {
		for _, words := range examples(text) {
			if words[0] == name {
				help[name] = append(help[name], words)
			}
		}
	})
	home := t.TempDir()
	logger := "time,sensor,value\n2026-03-04T10:00:00Z,upper light,5700\n2026-03-04T10:01:00Z,upper light,5710\n"
	if err := os.WriteFile(filepath.Join(home, "logger.csv"), []byte(logger), 0o600); err != nil {
		t.Fatal(err)
	}
	wide := "a logger\nof its own\nDate,Clock,CH1 (lx),CH2 (°C)\n04.03.2026,10:02,5700,21.5\n04.03.2026,10:03,5710,21.6\n"
	if err := os.WriteFile(filepath.Join(home, "wide.csv"), []byte(wide), 0o600); err != nil {
		t.Fatal(err)
	}
	files := []string{"wide.csv", "mytrial", "mytrial.zip", "mytrial-again", "mytrial-files", "logger.csv"}
	ran := 0
	for _, name := range []string{"begin", "check", "import", "note", "dli", "climate", "backup", "restore", "export"} {
		for _, words := range help[name] {
			if slices.Contains(words, "--salvage") {
				continue // needs a damaged database: TestSalvage
			}
			if strings.HasSuffix(words[len(words)-1], "*") {
				continue // a shell's pattern of several racks: TestRacksInOneAnothersWay
			}
			args := slices.Clone(words)
			for i, w := range args {
				if slices.Contains(files, w) {
					args[i] = filepath.Join(home, w)
				}
			}
			must(t, march, "", args...)
			ran++
		}
	}
	if ran < 14 {
		t.Errorf("only %d examples were run", ran)
	}
}

func TestUsageIsToldInOneLine(t *testing.T) {
	t.Parallel()
	for _, args := range [][]string{{"compost"}, {"dli"}, {"dli", ".", "--bright"}, {"dli", ".", "--per", "shelf"}, {"note", ".", "--withdraws", "x"}} {
		status, out, talk := command(t, march, "", args...)
		if status != 2 || out != "" || strings.Count(talk, "\n") != 1 || !strings.Contains(talk, "parstead") {
			t.Errorf("%q: exit status %d, stdout %q, stderr %q", args, status, out, talk)
		}
	}
	if out := must(t, march, "", "--version"); !strings.HasPrefix(out, "parstead ") {
		t.Errorf("--version: %q", out)
	}
}
