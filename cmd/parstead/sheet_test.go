package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Both files are there, named by kind and day; what is there is never replaced.
func TestSheet(t *testing.T) {
	t.Parallel()
	dir, _, _, _ := laid(t)
	must(t, march, "", "layout", dir, "--seed", "3")
	day := march.Format(time.DateOnly)
	for _, kind := range []string{"survey", "labels", "count", "harvest"} {
		out := must(t, march, "", "sheet", dir, kind)
		lines := strings.Count(out, "\n")
		for _, ending := range []string{".html", ".csv"} {
			path := filepath.Join(dir, "sheet-"+kind+"-"+day+ending)
			if info, err := os.Stat(path); err != nil || info.Size() == 0 || !strings.Contains(out, path) {
				t.Errorf("%s: %v; %q", path, err, out)
			}
		}
		if lines != 2 {
			t.Errorf("%s says %q", kind, out)
		}
		path := filepath.Join(dir, "sheet-"+kind+"-"+day+".csv")
		if err := os.WriteFile(path, []byte("filled in"), 0o600); err != nil {
			t.Fatal(err)
		}
		if status, _, talk := command(t, march, "", "sheet", dir, kind); status != 1 || !strings.Contains(talk, "never replaced") || strings.Count(talk, "\n") != 1 {
			t.Errorf("%s again: exit status %d, %q", kind, status, talk)
		}
		if text, err := os.ReadFile(path); err != nil || string(text) != "filled in" {
			t.Errorf("%s was replaced: %q, %v", path, text, err)
		}
		must(t, march, "", "sheet", dir, kind, "--dir", filepath.Join(dir, "printed"))
	}
	must(t, march, "", "check", dir) // the sheets beside the trial's own disturb nobody
}

func TestSheetUsage(t *testing.T) {
	t.Parallel()
	dir, _, _, _ := laid(t)
	for _, args := range [][]string{
		{"petals"},
		{"survey", "--seed", "3"},
		{"survey", "--reads", "wet"},
		{"labels", "--tare"},
		{"count", "--again"},
		{"harvest", "--at", "2026-03-04 10:00"},
		{"harvest", "--stock", "a4-65"},
		{"count", "--treatments"},
	} {
		status, out, talk := command(t, march, "", append([]string{"sheet", dir}, args...)...)
		if status != 2 || out != "" || strings.Count(talk, "\n") != 1 {
			t.Errorf("%q: exit status %d, %q", args, status, talk)
		}
	}
	if status, _, talk := command(t, march, "", "sheet", dir, "labels"); status != 1 || !strings.Contains(talk, "parstead layout") {
		t.Errorf("labels without a layout: exit status %d, %q", status, talk)
	}
}
