//go:build worlds

package claimsworlds

import (
	"math"
	"slices"
	"testing"
)

func TestTablesAreWellFormed(t *testing.T) {
	seen := map[string]bool{}
	for _, w := range Worlds() {
		if seen[w.Name] || w.Trouble == "" || w.Attacks == "" || w.Blame == "" {
			t.Errorf("%s: twice, or not described", w.Name)
		}
		seen[w.Name] = true
		a := w.Deal(7)
		if a.CSV() != w.Deal(7).CSV() || a.CSV() == w.Deal(8).CSV() {
			t.Errorf("%s: not fixed by its seed", w.Name)
		}
		n := a.Table[0].Len()
		bins := len(levelsOf(Find(a.Table, "bin").Labels))
		if n < 60 || n > 250 || bins < 2 || bins > 12 {
			t.Errorf("%s: %d plants in %d bins", w.Name, n, bins)
		}
		for _, c := range slices.Concat(a.Table, a.Hidden) {
			if c.Len() != n || (c.Labels != nil) == (c.Numbers != nil) {
				t.Errorf("%s: column %s", w.Name, c.Name)
			}
		}
		checkRoles(t, w, a)
		checkTruthIsWhole(t, w, a)
	}
	t.Logf("%d worlds", len(seen))
}

func checkRoles(t *testing.T, w World, a Trial) {
	t.Helper()
	r := a.Roles
	named := slices.Concat([]string{r.Plant, r.Bin, r.Block, r.Row, r.Column, r.Lost}, r.PlantTreatments, r.BinTreatments, r.Covariates)
	for _, o := range r.Outcomes {
		named = append(named, o.Name)
	}
	for _, maybe := range []string{r.Light, r.Species, r.Mother} {
		if maybe != "" {
			named = append(named, maybe)
		}
	}
	for _, name := range named {
		if Find(a.Table, name) == nil {
			t.Errorf("%s: role of a missing column %q", w.Name, name)
		}
	}
}

// checkTruthIsWhole: every pair of every planned treatment, and the light
// slope, have one judging statement; a null world states only zeros.
func checkTruthIsWhole(t *testing.T, w World, a Trial) {
	t.Helper()
	for _, o := range a.Roles.Outcomes {
		if o.Name == "lost" {
			continue
		}
		for _, f := range slices.Concat(a.Roles.PlantTreatments, a.Roles.BinTreatments) {
			levels, judged := len(levelsOf(Find(a.Table, f).Labels)), 0
			for _, e := range w.Truth {
				if e.Outcome == o.Name && e.Factor == f && !e.IsSlope() && e.By == "" && e.WhereColumn == "" && e.Standing == Judge {
					judged++
					if w.Null && e.Value != 0 {
						t.Errorf("%s: null, but %s %s→%s is %g", w.Name, f, e.From, e.To, e.Value)
					}
				}
			}
			if judged != levels*(levels-1)/2 {
				t.Errorf("%s: %s on %s has %d judging pairs of %d levels", w.Name, f, o.Name, judged, levels)
			}
		}
	}
	for _, e := range w.Truth {
		if math.IsNaN(e.Value) && e.Note == "" {
			t.Errorf("%s: no reason why %s is undefined", w.Name, e.Factor)
		}
	}
}

func TestLightVariesWithinBins(t *testing.T) {
	for _, w := range Worlds() {
		if w.Name == "level-is-light" {
			continue // one reading a bin is its trouble
		}
		var cvs []float64
		for _, trial := range deals(w, 8) {
			light, groups := Find(trial.Table, "light").Numbers, map[int][]float64{}
			for i, k := range binsOf(trial) {
				groups[k] = append(groups[k], light[i])
			}
			for _, g := range groups {
				mean, sd := meanSD(g)
				cvs = append(cvs, sd/mean)
			}
		}
		if mean, _ := meanSD(cvs); mean < 0.10 || mean > 0.27 {
			t.Errorf("%s: light varies within bins by CV %.3f", w.Name, mean)
		}
	}
}
