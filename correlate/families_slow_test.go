//go:build slow && worlds

package correlate

import (
	"math"
	"testing"
)

// The same over many trials: 2,000 for one species, 1,000 for three.
func TestClaimsWhereNothingIsOverManyTrials(t *testing.T) {
	t.Parallel()
	for species, trials := range map[int]int{1: 2000, 3: 1000} {
		error := math.Sqrt(0.05 * 0.95 / float64(trials))
		share := claimed(t, trials, species)
		t.Logf("%d species: %.4f ± %.4f of %d trials", species, share, error, trials)
		if share > 0.06+2*error {
			t.Errorf("%d species: a claim in %.4f of trials, ± %.4f", species, share, error)
		}
	}
}
