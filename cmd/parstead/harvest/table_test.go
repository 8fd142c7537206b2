package harvest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"parstead/correlate"
)

// A column of bins that nobody named is remarked on where whole bins have one level of
// a treatment, and nowhere else.
func TestBinsThatAreNotNamedAreRemarkedOn(t *testing.T) {
	t.Parallel()
	file := filepath.Join(t.TempDir(), "plants.csv")
	if err := os.WriteFile(file, []byte("Bin,cover,medium,mass\na,lid,coir,1\na,lid,peat,2\nb,open,coir,3\nb,open,peat,4\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		treatment, bin, says string
	}{
		{"cover", "", "name --bin bin and give cover by --bin-treatment"},
		{"medium", "", ""},
		{"cover", "bin", ""},
	} {
		table := Table{
			File: file, Bin: c.bin, Outcomes: []correlate.Outcome{{Name: "mass", Kind: correlate.Measure}},
			Treatments: []correlate.Treatment{{Factor: correlate.Factor{Name: c.treatment}, SetPer: correlate.PerPlant}},
		}
		if _, err := table.Read(); err != nil {
			t.Fatal(err)
		}
		if says := strings.Join(table.Remarks, "; "); (c.says == "") != (says == "") || !strings.Contains(says, c.says) {
			t.Errorf("%s, bins %q: %q", c.treatment, c.bin, says)
		}
	}
}
