//go:build worlds

package claimsworlds

import (
	"math"
	"slices"
	"testing"
)

// near fails unless the mean of x is within 4.3 Monte Carlo errors of want,
// give or take slack.
func near(t *testing.T, what string, x []float64, want, slack float64) {
	t.Helper()
	mean, sd := meanSD(x)
	se := sd / math.Sqrt(float64(len(x)))
	t.Logf("%s: %.4f, Monte Carlo error %.4f, stated %.4f ± %.4f", what, mean, se, want, slack)
	if !(math.Abs(mean-want) <= limit*se+slack) {
		t.Errorf("%s: %.4f, stated %.4f (Monte Carlo error %.4f)", what, mean, want, se)
	}
}

// over is one figure of each of many deals of a world.
func over(t *testing.T, world string, n int, figure func(Trial) float64) []float64 {
	t.Helper()
	w, ok := Named(world)
	if !ok {
		t.Fatalf("no world %s", world)
	}
	out := make([]float64, 0, n)
	for _, trial := range deals(w, n) {
		out = append(out, figure(trial))
	}
	return out
}

func numbers(t Trial, name string) []float64 { return column(t, name, false).Numbers }

// residuals are true outcomes (logged if so analysed) minus the expectation.
func residuals(t Trial, name string, base float64, logged bool) []float64 {
	y, eta := slices.Clone(numbers(t, name+"_all")), numbers(t, name+"_eta")
	for i := range y {
		if logged {
			y[i] = math.Log(y[i])
		}
		y[i] -= base + eta[i]
	}
	return y
}

func variance(x []float64) float64 {
	m, _ := meanSD(x)
	s := 0.0
	for _, v := range x {
		s += (v - m) * (v - m)
	}
	return s / float64(len(x)-1)
}

func TestSpreadOfBins(t *testing.T) {
	for name, sd := range map[string]float64{"unequal-bins-0.1": 0.1, "unequal-bins-0.3": 0.3, "unequal-bins-0.5": 0.5} {
		near(t, name+" nuisance squared", over(t, name, 400, func(x Trial) float64 {
			v := numbers(x, "mass_nuisance")[0]
			return v * v
		}), 1.25*sd*sd, 0)
	}
}

func TestSpreadOfPlants(t *testing.T) {
	base := math.Log(40)
	squares := func(level string) func(Trial) float64 {
		return func(x Trial) float64 {
			var r []float64
			for i, v := range residuals(x, "mass", base, true) {
				if Find(x.Table, "medium").Labels[i] == level {
					r = append(r, v*v)
				}
			}
			mean, _ := meanSD(r)
			return mean
		}
	}
	near(t, "narrow medium, variance", over(t, "unequal-spread-unequal-n", 200, squares("peat")), 0.12*0.12, 0)
	near(t, "wide medium, variance", over(t, "unequal-spread-unequal-n", 200, squares("perlite")), 0.36*0.36, 0)
	// A t with 3 degrees of freedom exceeds 3.182 scales in 5 of 100.
	near(t, "t3 beyond its 97.5 % point", over(t, "heavy-tails-t3", 200, func(x Trial) float64 {
		k := 0.0
		for _, v := range residuals(x, "mass", base, true) {
			if math.Abs(v) > 3.1824*0.15 {
				k++
			}
		}
		return k / float64(len(x.Table[0].Labels))
	}), 0.05, 0)
}

func TestSpreadOfCounts(t *testing.T) {
	ratio := func(mean float64) func(Trial) float64 {
		return func(x Trial) float64 { return variance(numbers(x, "leaves_all")) / mean }
	}
	near(t, "clumped, variance over mean", over(t, "counts-clumped", 200, ratio(6)), 3, 0)
	near(t, "regular, variance over mean", over(t, "counts-regular", 200, ratio(9)), 0.25, 0)
}

func TestZeroLevels(t *testing.T) {
	hasZero := func(outcome string) func(Trial) float64 {
		return func(x Trial) float64 {
			sum := map[string]float64{}
			for i, v := range numbers(x, outcome+"_all") {
				sum[Find(x.Table, "medium").Labels[i]] += v
			}
			for _, s := range sum {
				if s == 0 {
					return 1
				}
			}
			return 0
		}
	}
	// 15 plants a level at 0.1 each: exp(−1.5) a level, four levels.
	near(t, "tables with a medium without plantlets", over(t, "counts-zero-level-by-chance", 400, hasZero("leaves")),
		1-math.Pow(1-math.Exp(-1.5), 4), 0)
	near(t, "tables with a medium without rot", over(t, "yes-no-zero-level-by-chance", 400, hasZero("rot")),
		1-math.Pow(1-math.Pow(0.94, 25), 4), 0)
}

func TestRatesOfEvents(t *testing.T) {
	rate := func(x Trial) float64 {
		m, _ := meanSD(numbers(x, "rot_all"))
		return m
	}
	near(t, "rare rot", over(t, "yes-no-rare", 300, rate), 0.03, 0)
	near(t, "rot over unequal bins", over(t, "yes-no-unequal-bins", 400, rate),
		expit(marginalLogOdds(logit(0.3), 1.2*math.Sqrt(1.25))), 0)
	for level, want := range map[string]float64{"peat": 0.05, "coir": 0.20, "bark": 0.40} {
		near(t, "losses in "+level, over(t, "losses-by-treatment", 200, func(x Trial) float64 {
			dead, n := 0.0, 0.0
			for i, v := range numbers(x, "lost") {
				if Find(x.Table, "medium").Labels[i] == level {
					dead, n = dead+v, n+1
				}
			}
			return dead / n
		}), want, 0)
	}
}

func correlation(x, y []float64) float64 {
	mx, sx := meanSD(x)
	my, sy := meanSD(y)
	s := 0.0
	for i := range x {
		s += (x[i] - mx) * (y[i] - my) / float64(len(x))
	}
	return s / (sx * sy)
}

func TestTangles(t *testing.T) {
	with := func(name string) func(Trial) float64 {
		return func(x Trial) float64 { return correlation(numbers(x, "light"), numbers(x, name)) }
	}
	near(t, "edge and light, one column", over(t, "edge-is-light", 5, with("edge")), -1, 1e-9)
	near(t, "edge and light, nearly", over(t, "edge-nearly-light", 50, with("edge")), -0.99, 0.01)
	near(t, "light and coir set by hand", over(t, "bright-places-given", 100, func(x Trial) float64 {
		coir := make([]float64, len(x.Table[0].Labels))
		for i, l := range Find(x.Table, "medium").Labels {
			if l == "coir" {
				coir[i] = 1
			}
		}
		return correlation(numbers(x, "light"), coir)
	}), 0.55, 0.12)
	near(t, "light and bins that grow better", over(t, "bright-bins-grow-better-no-slope", 100, with("mass_nuisance")), 0.65, 0.15)
	near(t, "light and poorer bins", over(t, "real-slope-against-bins", 100, with("mass_nuisance")), -0.7, 0.15)
	near(t, "neighbours in patches", over(t, "patches-dealt", 60, func(x Trial) float64 {
		var a, b []float64
		n := numbers(x, "mass_nuisance")
		col := numbers(x, "column")
		for i := range n[:36] {
			if col[i] < 6 {
				a, b = append(a, n[i]), append(b, n[i+1])
			}
		}
		return correlation(a, b)
	}), 0.85, 0.12)
}
