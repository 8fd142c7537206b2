//go:build worlds

package claimsworlds

import (
	"fmt"
	"math"
	"slices"
	"testing"
)

// seedsPerWorld trials are pooled; every check states its Monte Carlo error.
const seedsPerWorld = 80

// limit in standard errors: about 600 checks, so 4.3 is passed by chance in
// one run of 100.
const limit = 4.3

func deals(w World, n int) []Trial {
	out := make([]Trial, n)
	for s := range out {
		out[s] = w.Deal(uint64(1000 + s))
	}
	return out
}

func TestTruthAgainstPooledFits(t *testing.T) {
	worst, checks := 0.0, 0
	for _, w := range Worlds() {
		trials := deals(w, seedsPerWorld)
		cache := map[string][2]any{}
		neverEvents = map[string]bool{"none": zeroLevel(w)}
		for _, e := range w.Truth {
			z, se, ok := checkEstimand(trials, e, cache)
			if !ok {
				continue
			}
			checks++
			worst = math.Max(worst, math.Abs(z))
			if !(math.Abs(z) <= limit) {
				t.Errorf("%s: %s %s %s→%s where %s held %v on %s: truth %.4f is off by %.1f Monte Carlo errors (%.4f)",
					w.Name, e.Outcome, e.Factor, e.From, e.To, e.WhereLevel, e.Held, e.On, e.Value, z, se)
			}
		}
	}
	t.Logf("%d estimands checked over %d seeds each, worst %.2f Monte Carlo errors", checks, seedsPerWorld, worst)
}

func zeroLevel(w World) bool {
	return slices.ContainsFunc(w.Truth, func(e Estimand) bool { return math.IsInf(e.Value, 0) })
}

// checkEstimand compares the pooled estimate with the stated value.
func checkEstimand(trials []Trial, e Estimand, cache map[string][2]any) (z, se float64, ok bool) {
	if math.IsNaN(e.Value) || math.IsInf(e.Value, 0) || e.By != "" || slices.ContainsFunc(e.Held, func(h string) bool { return len(h) > 30 }) {
		return 0, 0, false
	}
	key := fmt.Sprint(e.Outcome, e.Factor, e.Held, e.WhereLevel, e.On)
	if _, seen := cache[key]; !seen {
		beta, cov := assemble(trials, e).solve()
		cache[key] = [2]any{beta, cov}
	}
	beta, cov := cache[key][0].([]float64), cache[key][1].([][]float64)
	c := make([]float64, len(beta))
	if e.IsSlope() {
		c[1] = 1
	} else {
		levels := levelsOf(column(trials[0], e.Factor, e.On == AllPlants).Labels)
		if neverEvents[levels[0]] {
			levels = levels[1:]
		}
		if k := slices.Index(levels, e.To); k > 0 {
			c[k]++
		}
		if k := slices.Index(levels, e.From); k > 0 {
			c[k]--
		}
	}
	variance := 0.0
	for i := range c {
		variance += c[i] * dot(cov[i], c)
	}
	se = math.Sqrt(variance)
	z = (dot(c, beta) - e.Value) / se
	return z, se, true
}

func TestDifferencesOfDifferencesAddUp(t *testing.T) {
	found := 0
	for _, w := range Worlds() {
		for _, e := range w.Truth {
			if e.By == "" {
				continue
			}
			found++
			part := func(level string) float64 {
				for _, s := range w.Truth {
					if s.Outcome == e.Outcome && s.Factor == e.Factor && s.From == e.From && s.To == e.To &&
						s.WhereColumn == e.By && s.WhereLevel == level {
						return s.Value
					}
				}
				return math.NaN()
			}
			if d := part(e.ByTo) - part(e.ByFrom); !(math.Abs(d-e.Value) < 1e-12) {
				t.Errorf("%s: interaction %g, parts give %g", w.Name, e.Value, d)
			}
		}
	}
	if found == 0 {
		t.Error("no interaction is stated anywhere")
	}
}

// TestRealisedSlopes: the line through the observed masses is on average the
// line stated for the very plants.
func TestRealisedSlopes(t *testing.T) {
	for _, w := range Worlds() {
		var off []float64
		for _, trial := range deals(w, seedsPerWorld) {
			for _, e := range trial.Realised {
				y := slices.Clone(Find(trial.Hidden, e.Outcome+"_all").Numbers)
				for i := range y {
					y[i] = math.Log(y[i])
				}
				light := Find(trial.Table, "light").Numbers
				off = append(off, slopeWithinBins(light, y, binsOf(trial))-e.Value)
			}
		}
		if len(off) == 0 {
			continue
		}
		mean, sd := meanSD(off)
		if se := sd / math.Sqrt(float64(len(off))); math.Abs(mean) > limit*se {
			t.Errorf("%s: realised slope off by %.5f, Monte Carlo error %.5f", w.Name, mean, se)
		}
	}
}

func binsOf(t Trial) []int {
	labels := Find(t.Table, "bin").Labels
	levels := levelsOf(labels)
	out := make([]int, len(labels))
	for i, l := range labels {
		out[i] = slices.Index(levels, l)
	}
	return out
}
