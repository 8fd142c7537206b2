package daemon

import (
	"fmt"
	"strings"
	"testing"

	"parstead/cmd/parstead/page"
	"parstead/cmd/parstead/racktest"
	"parstead/light"
)

// One entry, from the request to the sheet in use, in a rack of 96 plants whose
// log has 3,000 entries already.
func BenchmarkEntry(b *testing.B) {
	dir := racktest.EntryTrial(b, "")
	config := strings.ReplaceAll(racktest.Text(b, dir, "trial.toml"), "rows = 2\ncolumns = 3", "rows = 6\ncolumns = 8")
	layout := "plant,bin,row,column,medium\n"
	for i := range 96 {
		layout += fmt.Sprintf("P%d,%s,%d,%d,%s\n", i, []string{"upper", "lower"}[i/48], i%48/8+1, i%8+1, []string{"coir", "bark"}[i%2])
	}
	racktest.WriteFiles(b, dir, map[string]string{"trial.toml": config, "layout.csv": layout})
	w := watchFolder(b, dir, Options{Clock: racktest.NewClock(racktest.Midday).Ingest()})
	for i := range 3000 {
		if _, err := w.db.AddEvent(b.Context(), light.Event{Kind: light.Entered, Text: fmt.Sprintf("leaves %d; in counts.csv", i), Data: []byte(`{"id":"x"}`)}); err != nil {
			b.Fatal(err)
		}
	}
	n := 0
	for b.Loop() {
		n++
		e := page.Entry{ID: fmt.Sprintf("%016d", n), What: page.Count, Plant: fmt.Sprintf("P%d", n%96), Outcome: "leaves", Value: fmt.Sprint(n)}
		if a := w.filing.Take(b.Context(), "", []page.Entry{e})[0]; a.State != page.Stored {
			b.Fatal(a)
		}
	}
	w.stop()
}
