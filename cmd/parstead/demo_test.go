package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"parstead/store"
)

// The demo leaves a trial folder whose database holds the season, and never
// touches a folder that is in use.
func TestDemo(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "season")
	args := []string{"demo", "--days", "28", "--dir", dir}
	var out, talk strings.Builder
	if err := run(t.Context(), args, strings.NewReader(""), &out, &talk); err != nil {
		t.Fatalf("%v\n%s", err, talk.String())
	}
	if !strings.Contains(out.String(), "Invented data") {
		t.Errorf("the demo doesn't say that its data is invented:\n%s", out.String())
	}
	if n := strings.Count(out.String(), "\n"); n > 60 {
		t.Errorf("the demo's story has %d lines, want 60 at most:\n%s", n, out.String())
	}
	for line := range strings.Lines(out.String()) {
		if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 && !strings.Contains(line, dir) {
			t.Errorf("a line of %d columns: %q", n, line)
		}
	}
	info, err := os.Stat(filepath.Join(dir, store.FileName))
	if err != nil || info.Size() < 100_000 {
		t.Errorf("the database: %v, %v", info, err)
	}
	view, err := store.OpenFolder(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	defer view.Close() //nolint:errcheck // it only read
	sensors, err := view.Sensors()
	if err != nil || len(sensors) != 17 {
		t.Errorf("%d sensors with readings (%v), want 17", len(sensors), err)
	}
	page, err := os.ReadFile(filepath.Join(dir, "report", "index.html"))
	if err != nil || !strings.Contains(string(page), "Invented data") {
		t.Errorf("the report doesn't say that its data is invented (%v)", err)
	}
	if err := run(t.Context(), args, strings.NewReader(""), &out, &talk); err == nil || !strings.Contains(err.Error(), "--dir") {
		t.Errorf("a second demo in the same folder: %v", err)
	}
}

// A demo that is interrupted ends with one line, and leaves nothing in the way of the
// next.
func TestAnInterruptedDemo(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "season")
	ctx, interrupt := context.WithCancel(t.Context())
	defer interrupt()
	talk := &interrupting{on: "season: ", do: interrupt}
	var out strings.Builder
	err := run(ctx, []string{"demo", "--days", "28", "--no-page", "--dir", dir}, strings.NewReader(""), &out, talk)
	if err == nil || !strings.HasPrefix(err.Error(), "the demo was stopped; what it had written into") || strings.Contains(err.Error(), "\n") {
		t.Error(err)
	}
	for line := range strings.Lines(talk.said.String()) {
		if !strings.HasPrefix(line, "season: ") {
			t.Errorf("it says %q", line)
		}
	}
	if _, err := os.Stat(dir); !os.IsNotExist(err) {
		t.Errorf("the folder is left: %v", err)
	}
}

// interrupting is talk that does something once it is told a thing.
type interrupting struct {
	on   string
	do   func()
	mu   sync.Mutex
	said strings.Builder
}

func (i *interrupting) Write(b []byte) (int, error) {
	i.mu.Lock()
	defer i.mu.Unlock()
	if strings.HasPrefix(string(b), i.on) {
		i.do()
	}
	return i.said.Write(b)
}
