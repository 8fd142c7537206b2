package correlate

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"parstead/correlate/analysis"
	"parstead/correlate/tables"
)

// crossed is a trial of two treatments of single plants, of which the second
// does its work on the first one's last level only.
func crossed(first, second analysis.Factor) *Input {
	rng := rand.New(rand.NewPCG(7, 11))
	in := &Input{}
	mass := []float64{}
	for i := range 96 {
		a, b := i%len(first.Levels), i/len(first.Levels)%len(second.Levels)
		first.Codes, second.Codes = append(first.Codes, a), append(second.Codes, b)
		in.Plants = append(in.Plants, fmt.Sprint("p", i))
		grown := 10 + 0.5*rng.NormFloat64()
		if a == len(first.Levels)-1 {
			grown += 4 * float64(b)
		}
		mass = append(mass, grown)
	}
	in.Treatments = []Treatment{{Factor: first, SetPer: PerPlant}, {Factor: second, SetPer: PerPlant}}
	in.Outcomes = []Outcome{{Name: "mass_g", Kind: Measure, Unit: "g", Values: mass, Primary: true, Planned: true}}
	return in
}

func findingsOf(t *testing.T, in *Input) ([]string, *Result) {
	t.Helper()
	r, err := Analyse(t.Context(), in, Options{Interactions: true})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.ContainsFunc(sentencesOf(r.Outcomes[0]), func(f string) bool { return strings.Contains(f, "mislead") }) {
		t.Fatalf("no interaction was told of: %q", sentencesOf(r.Outcomes[0]))
	}
	return sentencesOf(r.Outcomes[0]), r
}

// Cells are compared that differ in one treatment, whatever signs its levels' names have.
func TestALevelWithACommaIsOneLevel(t *testing.T) {
	t.Parallel()
	findings, r := findingsOf(t, crossed(
		Factor{Name: "medium", Levels: []string{"peat, fine", "peat, coarse"}}, Factor{Name: "feed", Levels: []string{"weak", "strong"}}))
	compared := 0
	for _, f := range findings {
		media := strings.Contains(f, "peat, fine") && strings.Contains(f, "peat, coarse")
		feeds := strings.Contains(f, "weak") && strings.Contains(f, "strong")
		if media && feeds {
			t.Errorf("compares cells that differ in both: %s", f)
		}
		if media || feeds {
			compared++
		}
	}
	if compared != 4 {
		t.Errorf("%d pairs of cells differ in one treatment, want 4: %q", compared, findings)
	}
	for _, c := range r.Outcomes[0].Comparisons {
		if c.Treatment == "medium × feed" && c.A == "peat, coarse, weak" {
			return
		}
	}
	t.Error("JSON names the cell otherwise than by its levels")
}

// Averages over a treatment that depends on another are not told, whatever
// signs its name has.
func TestATreatmentWithATimesSignIsOneTreatment(t *testing.T) {
	t.Parallel()
	findings, _ := findingsOf(t, crossed(
		Factor{Name: "A × B", Levels: []string{"inbred", "hybrid"}}, Factor{Name: "feed", Levels: []string{"weak", "strong"}}))
	cells := 0
	for _, f := range findings {
		parent := strings.Contains(f, "inbred") || strings.Contains(f, "hybrid")
		feed := strings.Contains(f, "weak") || strings.Contains(f, "strong")
		if parent != feed {
			t.Errorf("an average that misleads: %s", f)
		}
		if parent && feed {
			cells++
		}
	}
	if cells != 4 {
		t.Errorf("%d pairs of cells, want 4: %q", cells, findings)
	}
}

// A cell reads the same wherever it is written: by its treatments' names.
func TestACellReadsOneWay(t *testing.T) {
	t.Parallel()
	findings, r := findingsOf(t, crossed(
		Factor{Name: "medium", Levels: []string{"fine", "coarse"}}, Factor{Name: "feed", Levels: []string{"weak", "strong"}}))
	var text bytes.Buffer
	if err := tables.WriteFull(&text, "", r); err != nil {
		t.Fatal(err)
	}
	if s := text.String(); !strings.Contains(s, "feed weak, medium coarse against feed weak, medium fine") &&
		!strings.Contains(s, "feed weak, medium fine against feed weak, medium coarse") {
		t.Errorf("the table of comparisons names its cells otherwise:\n%s", s)
	}
	if s := strings.Join(findings, "\n"); !strings.Contains(s, "medium coarse lies above fine in mass_g on feed strong") || strings.Contains(s, "coarse, strong") {
		t.Errorf("the findings name cells otherwise:\n%s", s)
	}
}
