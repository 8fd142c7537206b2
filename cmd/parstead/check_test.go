package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
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
