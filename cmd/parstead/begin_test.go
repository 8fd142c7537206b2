package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func TestBeginThenCheck(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "rack")
	var out, talk bytes.Buffer
	e := &env{t.Context(), nil, &out, &talk, func() time.Time { return time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC) }}
	if err := runAt(e, []string{"begin", dir}); err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(out.String(), "parstead check "+dir) {
		t.Errorf("%s", &out)
	}
	text, err := os.ReadFile(filepath.Join(dir, "trial.toml"))
	if err != nil || !strings.Contains(string(text), "starts       = 2026-03-02") {
		t.Errorf("%v: %s", err, text)
	}
	out.Reset()
	if err := runAt(e, []string{"check", dir}); err != nil {
		t.Errorf("%v: %s", err, &out)
	}
	if err := runAt(e, []string{"begin", dir}); exitCode(err, &talk) != 1 || !strings.Contains(talk.String(), "is there already") {
		t.Errorf("a second time: %v", err)
	}
}
