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

// Lines that go below those of a sheet that is there have its columns, in its order;
// what it lacks is told.
func TestSheetFollowsTheSheetThatIsThere(t *testing.T) {
	t.Parallel()
	dir, _, _, _ := laid(t)
	must(t, march, "", "layout", dir, "--seed", "3")
	asked := strings.Fields(strings.ReplaceAll(firstLine(t, must(t, march, "", "sheet", dir, "harvest", "--dir", filepath.Join(dir, "first"))), ",", " "))
	if len(asked) < 7 {
		t.Fatalf("columns %q", asked)
	}
	there := []string{strings.ToUpper(asked[5]), "leave_out", "plant"} // the outcome first
	writeFiles(t, dir, map[string]string{"harvest.csv": strings.Join(there, ",") + "\n"})
	_, out, talk := command(t, march, "", "sheet", dir, "harvest")
	var lacking []string
	for _, h := range asked {
		if h != "plant" && h != asked[5] {
			lacking = append(lacking, h)
		}
	}
	if got, want := firstLine(t, out), strings.Join(append(there, lacking...), ","); got != want {
		t.Errorf("columns %s, want %s", got, want)
	}
	if !strings.Contains(out, "go below those of the harvest sheet") || !strings.Contains(talk, "has no column "+strings.Join(lacking, ", ")+":") {
		t.Errorf("%q, %q", out, talk)
	}
	text, err := os.ReadFile(filepath.Join(dir, "sheet-harvest-"+march.Format(time.DateOnly)+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	for i, line := range strings.Split(strings.TrimSpace(string(text)), "\n")[1:] {
		if !strings.HasPrefix(line, ",,") || strings.HasPrefix(line, ",,,") {
			t.Fatalf("line %d has no plant in the third column: %s", i+2, line)
		}
	}
}

// firstLine is the heading of the CSV file that sheet says it wrote.
func firstLine(t *testing.T, said string) string {
	t.Helper()
	_, after, _ := strings.Cut(said, "\n")
	path, _, _ := strings.Cut(after, ": ")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	head, _, _ := strings.Cut(string(text), "\n")
	return head
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
