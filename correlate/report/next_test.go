package report

import (
	"bytes"
	"strings"
	"testing"

	"parstead/correlate"
)

// The page has a section on the next trial where the primary outcome says what
// matters, and none where it does not.
func TestNextTrialOnThePage(t *testing.T) {
	t.Parallel()
	for _, matters := range []bool{true, false} {
		r := trial(t)
		if matters {
			r.Input.Outcomes[0].Matters = &correlate.Difference{Value: 0.2, Share: true}
			for range r.Input.Bin.Levels {
				r.Input.BinPositions = append(r.Input.BinPositions, 60)
			}
		} else {
			r.Input.Outcomes[0].Matters = nil
		}
		r = analysed(t, r)
		var page bytes.Buffer
		if err := r.page(&page, nil); err != nil {
			t.Fatal(err)
		}
		text := wellFormed(t, "index.html", page.Bytes())
		if got := strings.Contains(page.String(), `id="next"`); got != matters {
			t.Fatalf("difference said: %v; section there: %v", matters, got)
		}
		for _, want := range []string{"The next trial", "Replicates for a next trial", "power of 0.8", "× 1.20", "rack holds per level"} {
			if matters && !strings.Contains(text, want) {
				t.Errorf("the page lacks %q", want)
			}
		}
	}
}
