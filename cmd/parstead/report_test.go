package main

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// correlate --report leaves a page with pictures, and --json stays clean.
func TestCorrelateReport(t *testing.T) {
	t.Parallel()
	dir, e, out, talk := laid(t)
	if err := runAt(e, []string{"layout", dir, "--seed", "1"}); err != nil {
		t.Fatal(err)
	}
	harvest := "plant,mass_g,leaves\n"
	for i := range 24 {
		harvest += fmt.Sprintf("P%02d,%d,%d\n", i, 5+(i*7)%11, i%5)
	}
	if err := os.WriteFile(filepath.Join(dir, "harvest.csv"), []byte(harvest), 0o600); err != nil {
		t.Fatal(err)
	}
	e.now = func() time.Time { return time.Date(2026, 3, 20, 6, 0, 0, 0, time.UTC) }
	out.Reset()
	to := filepath.Join(t.TempDir(), "new", "report")
	if err := runAt(e, []string{"correlate", dir, "--report", to, "--json"}); err != nil {
		t.Fatal(err, talk)
	}
	if !json.Valid(out.Bytes()) {
		t.Errorf("beside the JSON: %s", out)
	}
	if page := filepath.Join(to, "index.html"); !strings.Contains(talk.String(), page) {
		t.Errorf("%q does not name %s", talk, page)
	}
	page, err := os.ReadFile(filepath.Join(to, "index.html"))
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"primary outcome, planned", "By parstead layout, seed 1", "medium: plants", "16 readings with a handheld meter",
		"2026-03-02 to 2026-03-15, 14 light days", "<td>67</td><td class=\"words\">given</td>", "layout: harvest correlation", "16 of 16", "<dt>Readings and surveys that are not used</dt>",
	} {
		if !strings.Contains(string(page), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, name := range []string{"light-map", "season", "mass_g-groups", "mass_g-pairs", "mass_g-plant-map", "leaves-groups", "outcomes"} {
		for _, ending := range []string{".svg", ".png", ".csv"} {
			if info, err := os.Stat(filepath.Join(to, name+ending)); err != nil || info.Size() == 0 {
				t.Errorf("%s%s: %v", name, ending, err)
			}
		}
	}
	talk.Reset()
	file := filepath.Join(to, "index.html")
	if err := runAt(e, []string{"correlate", dir, "--report", filepath.Join(file, "below")}); err == nil || !strings.Contains(err.Error(), "report's folder") {
		t.Errorf("a folder below a file: %v", err)
	}
}
