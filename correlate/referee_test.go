package correlate

import (
	"math/rand/v2"
	"strings"
	"testing"
)

// Equations and the paragraph on methods hold what was fitted, and nothing else.
func TestMethodsSayWhatWasDone(t *testing.T) {
	t.Parallel()
	in := trial{bins: 6, rows: 4, columns: 5, media: 3, binSD: 0.3, sd: 0.2}.input(rand.New(rand.NewPCG(3, 4)))
	r := result(t, in, Options{Seed: 1})
	for i, want := range []string{
		"ln mass_g = constant + bin + medium + b₁ ln start_g + b₂ light + plant; bin = constant + level + what each bin differs by",
		"height = constant + bin + medium + b₁ light + plant; bin = constant + level + what each bin differs by",
		"ln of mean leaves = constant + bin + medium + b₁ light, variance φ times the mean; bin = constant + level + what each bin differs by",
	} {
		if got := r.Outcomes[i].Equation; got != want {
			t.Errorf("%s: %s", r.Outcomes[i].Name, got)
		}
	}
	for _, says := range []string{"Tukey and Kramer", "level acts through light", "Holm's rule", "Benjamini and Hochberg", "quasi-likelihood", "exact tests"} {
		if !strings.Contains(r.Methods, says) {
			t.Errorf("no %q in: %s", says, r.Methods)
		}
	}
	of := map[string]bool{}
	for _, v := range r.Outcomes[0].Variance {
		of[v.Of] = true
		if v.SD == nil || v.CI95 == nil || !(v.CI95[0] <= *v.SD && *v.SD <= v.CI95[1]) {
			t.Errorf("%+v", v)
		}
	}
	if !of["bin"] || !of["plant"] || r.Outcomes[2].Variance != nil {
		t.Errorf("variance of %v; of counts %v", of, r.Outcomes[2].Variance)
	}

	in.Outcomes = in.Outcomes[1:2]
	in.Light, in.Treatments = nil, in.Treatments[:1]
	if r = result(t, in, Options{Seed: 1}); strings.Contains(r.Methods, "Counts") || strings.Contains(r.Methods, "Yes/no") || strings.Contains(r.Methods, "Light") || strings.Contains(r.Methods, "Banerjee") {
		t.Errorf("says what was not done: %s", r.Methods)
	}
}
