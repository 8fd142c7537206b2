package sheets_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"parstead/cmd/parstead/sheets"
	"parstead/light"
)

var paper = regexp.MustCompile(`/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]`)

// On paper labels take their sheets and no blank one; lists fill upright and landscape
// pages of whatever paper the printer has.
func TestPrinted(t *testing.T) {
	t.Parallel()
	browser, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("PARSTEAD_REQUIRE_TOOLS") == "1" {
			t.Fatal("chromium is required and missing")
		}
		t.Skip("chromium is not installed")
	}
	tr := open(t, folder(t))
	upright, across := [2]string{"612", "792"}, [2]string{"792", "612"} // letter paper in points, which this browser prints on unless told otherwise
	printOut := func(s *sheets.Sheet, err error) [][]string {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		dir := t.TempDir()
		write(t, dir, "sheet.html", page(t, s))
		out := filepath.Join(dir, "sheet.pdf")
		run := exec.CommandContext(t.Context(), browser, "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer",
			"--user-data-dir="+filepath.Join(dir, "browser"), "--print-to-pdf="+out, "file://"+filepath.Join(dir, "sheet.html"))
		if talk, err := run.CombinedOutput(); err != nil {
			t.Fatalf("chromium: %v\n%s", err, talk)
		}
		pdf, err := os.ReadFile(out)
		if err != nil {
			t.Fatal(err)
		}
		var pages [][]string
		for _, m := range paper.FindAllSubmatch(pdf, -1) {
			pages = append(pages, strings.Fields(string(bytes.Join(m[1:], []byte(" ")))))
		}
		return pages
	}
	plants := len(tr.Plants)
	for _, c := range []struct {
		what        string
		pages       [][]string
		size        [2]string
		least, most int
	}{
		{"a4-24", printOut(sheets.Labels(tr, "a4-24", true, printed)), [2]string{"594.95996", "841.91998"}, (plants + 23) / 24, (plants + 23) / 24},
		{"survey", printOut(sheets.Survey(tr, light.QuantityPPFD, printed), nil), upright, 4, 4},                         // three strips and a bin
		{"harvest", printOut(sheets.Harvest(tr, sheets.Scoring{Seed: 1, Tare: true, Printed: printed})), across, 10, 16}, // two parts
	} {
		if n := len(c.pages); n < c.least || n > c.most {
			t.Errorf("%s: %d pages, want %d to %d", c.what, n, c.least, c.most)
		}
		for _, p := range c.pages {
			if [2]string(p) != c.size {
				t.Errorf("%s is printed on %v points, want %v", c.what, p, c.size)
				break
			}
		}
	}
}
