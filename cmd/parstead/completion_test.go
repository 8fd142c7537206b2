package main

import (
	"os/exec"
	"strings"
	"testing"
)

// bash itself completes commands, options and the words an argument may be.
func TestCompletionInBash(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("bash"); err != nil {
		t.Skip("no bash on this machine")
	}
	script := must(t, march, "", "completion", "bash")
	for typed, want := range map[string]string{
		"parstead cli": "climate", "parstead dli --fr": "--from", "parstead sheet har": "harvest", "parstead run --service-t": "--service-template",
	} {
		words := strings.Fields(typed)
		ask := script + "\nCOMP_WORDS=(" + typed + "); COMP_CWORD=" + string(rune('0'+len(words)-1)) + "; _parstead; echo ${COMPREPLY[@]}\n"
		got, err := exec.Command("bash", "-c", ask).CombinedOutput()
		if err != nil || strings.TrimSpace(string(got)) != want {
			t.Errorf("%s: %s (%v), want %s", typed, got, err, want)
		}
	}
}

// The other shells' files and the manual name every command.
func TestFilesOfAPackageNameEachCommand(t *testing.T) {
	t.Parallel()
	manual, zsh, fish := must(t, march, "", "manual"), must(t, march, "", "completion", "zsh"), must(t, march, "", "completion", "fish")
	eachCommand(t, func(name, _ string) {
		for what, text := range map[string]string{"the manual": manual, "zsh": zsh, "fish": fish} {
			if name != "completion" && name != "manual" && !strings.Contains(strings.ToLower(text), name) {
				t.Errorf("%s doesn't know %s", what, name)
			}
		}
	})
	for line := range strings.Lines(manual) {
		if strings.HasPrefix(line, ".") && !strings.HasPrefix(line, ".TH ") && !strings.HasPrefix(line, ".SH ") && line != ".nf\n" && line != ".fi\n" {
			t.Errorf("a line of text is taken for a request: %q", line)
		}
	}
}

// The service of many trials is that of one, but for whose folder it is.
func TestServiceTemplate(t *testing.T) {
	t.Parallel()
	text := must(t, march, "", "run", "--service-template")
	for _, line := range []string{"ExecStart=/usr/bin/parstead run /srv/parstead/%i\n", "ReadWritePaths=/srv/parstead/%i\n", "User=parstead\n", "WatchdogSec="} {
		if !strings.Contains(text, "\n"+line) {
			t.Errorf("no line %q in\n%s", line, text)
		}
	}
}
