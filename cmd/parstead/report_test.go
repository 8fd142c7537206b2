package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// correlate --report leaves a page with pictures, and --json stays clean.
func TestCorrelateReport(t *testing.T) {
	t.Parallel()
	dir, e, out, talk := harvestOf(t, 1)
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
	if err := runAt(e, []string{"correlate", dir, "--report", filepath.Join(file, "below")}); err == nil || !strings.Contains(err.Error(), "make the folder of pictures") {
		t.Errorf("a folder below a file: %v", err)
	}
}
