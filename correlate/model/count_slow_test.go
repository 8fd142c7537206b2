//go:build slow

package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// Null false alarms of the F test and family coverage of the simultaneous
// intervals of ratios, over trials of four groups: counts that vary by chance
// alone, more (negative binomial) and less (binomial).
func TestCountCalibration(t *testing.T) {
	t.Parallel()
	const trials = 2000
	draws := map[string]func(rng *rand.Rand) float64{
		"chance, mean 6": func(rng *rand.Rand) float64 { return distuv.Poisson{Lambda: 6, Src: rng}.Rand() },
		"more, size 2": func(rng *rand.Rand) float64 {
			return distuv.Poisson{Lambda: distuv.Gamma{Alpha: 2, Beta: 2. / 6, Src: rng}.Rand(), Src: rng}.Rand()
		},
		"less, 12 of 20": func(rng *rand.Rand) float64 { return distuv.Binomial{N: 20, P: 0.6, Src: rng}.Rand() },
	}
	for name, draw := range draws {
		for _, n := range []int{4, 8, 24} {
			rng := rand.New(rand.NewPCG(uint64(n), 9))
			f := groups(4, n)
			d, err := NewDesign(4*n, Terms{Treatments: []Treatment{{f, PerPlant}}})
			if err != nil {
				t.Fatal(err)
			}
			alarms, covered, fitted := 0, 0, 0
			y := make([]float64, 4*n)
			for range trials {
				for i := range y {
					y[i] = draw(rng)
				}
				fit, err := d.Count(y, nil)
				if err != nil {
					t.Fatal(err)
				}
				tests, err := fit.Partial()
				if err != nil {
					t.Fatal(err)
				}
				if !tests[0].OK {
					continue
				}
				fitted++
				if tests[0].P < 0.05 {
					alarms++
				}
				all := true
				for _, p := range must(Compare(fit, d, d.Families()[0])).Pairs {
					all = all && p.CI95[0] <= 0 && p.CI95[1] >= 0
				}
				if all {
					covered++
				}
			}
			size, cover := float64(alarms)/float64(fitted), float64(covered)/float64(fitted)
			mc := math.Sqrt(0.05 * 0.95 / float64(fitted))
			t.Logf("%-15s n %2d: false alarms %.3f, families covered %.3f (Monte Carlo error %.4f)", name, n, size, cover, mc)
			if math.Abs(size-0.05) > 0.01+3*mc || math.Abs(cover-0.95) > 0.02+3*mc {
				t.Errorf("%s, n %d: false alarms %.3f, families covered %.3f", name, n, size, cover)
			}
		}
	}
}

// Null false alarms and coverage of the penalised logistic for answers that are
// rare, a covariate beside three groups of 20.
func TestLogisticCalibration(t *testing.T) {
	t.Parallel()
	const trials = 2000
	rng := rand.New(rand.NewPCG(31, 32))
	f := groups(3, 20)
	alarms, exact, covered, fitted := 0, 0, 0, 0
	x, y := make([]float64, 60), make([]float64, 60)
	for range trials {
		for i := range y {
			x[i] = rng.NormFloat64()
			y[i] = 0
			if rng.Float64() < 1/(1+math.Exp(1.2-0.8*x[i])) {
				y[i] = 1
			}
		}
		s, err := ShareOf(f, y, 1)
		if err != nil {
			t.Fatal(err)
		}
		if s.Test.P < 0.05 {
			exact++
		}
		d, err := NewDesign(60, Terms{Treatments: []Treatment{{f, PerPlant}}, Covariates: []Variable{{"x", x}}})
		if err != nil {
			t.Fatal(err)
		}
		fit, err := d.Logistic(y)
		if err != nil {
			continue // too few answers
		}
		fitted++
		tests, err := fit.Partial()
		if err != nil {
			t.Fatal(err)
		}
		if tests[0].P < 0.05 {
			alarms++
		}
		slope, err := fit.Profile([]float64{0, 0, 0, 1}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if slope.Limits[0] <= 0.8 && slope.Limits[1] >= 0.8 {
			covered++
		}
	}
	size, cover := float64(alarms)/float64(fitted), float64(covered)/float64(fitted)
	mc := math.Sqrt(0.05 * 0.95 / float64(fitted))
	t.Logf("%d fitted: false alarms %.3f, exact %.3f, slope covered %.3f (Monte Carlo error %.4f)", fitted, size, float64(exact)/trials, cover, mc)
	if math.Abs(size-0.05) > 0.01+3*mc || math.Abs(cover-0.95) > 0.02+3*mc || float64(exact)/trials > 0.05+3*mc {
		t.Errorf("false alarms %.3f, exact %.3f, slope covered %.3f", size, float64(exact)/trials, cover)
	}
}
