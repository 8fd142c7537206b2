package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"parstead/cmd/parstead/trial"
)

const twentyMistakes = "../../testdata/trials/twenty-mistakes"

func TestCheckTellsAllAtOnce(t *testing.T) {
	t.Parallel()
	var out, talk bytes.Buffer
	err := run(t.Context(), []string{"check", twentyMistakes}, nil, &out, &talk)
	if status := exitCode(err, &talk); status != 1 {
		t.Errorf("exit status %d", status)
	}
	want, err := os.ReadFile(filepath.Join(twentyMistakes, "expected.txt"))
	if err != nil {
		t.Fatal(err)
	}
	if out.String() != string(want) || talk.Len() > 0 {
		t.Errorf("stdout:\n%s\nstderr:\n%s", &out, &talk)
	}
}

func TestCheckJSON(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	if err := run(t.Context(), []string{"check", twentyMistakes, "--json"}, nil, &out, &out); exitCode(err, &out) != 1 {
		t.Errorf("%v", err)
	}
	var list []map[string]any
	if err := json.Unmarshal(out.Bytes(), &list); err != nil || len(list) != 20 {
		t.Fatalf("%d objects, %v", len(list), err)
	}
	for _, key := range []string{"file", "line", "column", "level", "says", "mend"} {
		if _, ok := list[0][key]; !ok {
			t.Errorf("no key %s", key)
		}
	}
	if list[0]["file"] != "trial.toml" || list[0]["line"] != 7.0 || list[0]["level"] != "error" {
		t.Errorf("%v", list[0])
	}
}

func TestCheckOfNoTrial(t *testing.T) {
	t.Parallel()
	var out bytes.Buffer
	err := run(t.Context(), []string{"check", t.TempDir()}, nil, &out, &out)
	if exitCode(err, &out) != 1 || !strings.Contains(out.String(), "parstead begin FOLDER") {
		t.Errorf("%v: %s", err, &out)
	}
	if err := run(t.Context(), []string{"check"}, nil, &out, &out); exitCode(err, &out) != 2 {
		t.Errorf("without a folder: %v", err)
	}
}

// A wrong column is one mistake, not a page full: the later lines are listed.
func TestCheckFoldsWhatIsAlike(t *testing.T) {
	t.Parallel()
	var problems []trial.Problem
	for _, line := range []int{2, 3, 4, 5, 6, 7, 9, 11, 12} {
		problems = append(problems, trial.Problem{File: "layout.csv", Line: line, Column: 1, Level: trial.LevelError, Says: fmt.Sprintf("no plant P%d", line), Mend: "add it"})
	}
	problems = append(problems, trial.Problem{File: "layout.csv", Line: 12, Column: 5, Level: trial.LevelError, Says: "no bin", Mend: "write upper"})
	want := []string{
		"layout.csv:2:1: error: no plant P2; add it",
		"layout.csv:3:1: error: no plant P3; add it",
		"layout.csv:4:1: error: no plant P4; add it",
		"layout.csv: error: 6 more of this kind, in lines 5 to 7, 9, 11 to 12; add it",
		"layout.csv:12:5: error: no bin; write upper",
	}
	if d := cmp.Diff(want, problemLines(problems)); d != "" {
		t.Error(d)
	}
	if lines := problemLines(problems[:4]); len(lines) != 4 || lines[3] != problems[3].Error() {
		t.Error(lines)
	}
}
