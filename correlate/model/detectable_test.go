package model

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// The smallest difference that is shown, against base R (testdata/oracles/claims.R).
func TestDetectable(t *testing.T) {
	t.Parallel()
	var want struct {
		Detectable []struct {
			K                    int
			DF                   float64
			Critical, Detectable float64
		}
		TwoPart []struct {
			A, B                float64
			K                   int
			DF                  [2]float64
			Freedom, Detectable float64
		} `json:"detectable_two_part"`
		Shares struct {
			Pairs      float64
			LogSE      float64 `json:"log_se"`
			Detectable float64
		} `json:"detectable_shares"`
	}
	readJSON(t, &want, "tables", "claims.json")
	var q studentized
	for _, w := range want.Detectable {
		p := q.pair(1, 0, Estimate{SE: 1, DF: w.DF}, w.K)
		near(t, "critical point", p.Critical, w.Critical, 1e-9, 0)
		near(t, "detectable", p.Detectable(), w.Detectable, 1e-8, 0)
	}
	for _, w := range want.TwoPart {
		e := Estimate{SE: math.Sqrt(w.A + w.B), DF: w.DF[0], Carried: &Carried{math.Sqrt(w.A), math.Sqrt(w.B), w.DF[1]}}
		near(t, "degrees of freedom", e.Freedom(), w.Freedom, 1e-10, 0)
		near(t, "detectable", q.pair(1, 0, e, w.K).Detectable(), w.Detectable, 1e-8, 0)
	}
	s := SharePair{LogSE: want.Shares.LogSE, Critical: Estimate{DF: math.Inf(1)}.quantile(0.05 / want.Shares.Pairs)}
	near(t, "detectable odds", s.Detectable(), want.Shares.Detectable, 1e-9, 0)
	for _, e := range []Estimate{{SE: 1, DF: 1}, {DF: 5}, {SE: math.NaN(), DF: 5}} {
		if d := q.pair(1, 0, e, 2).Detectable(); !math.IsNaN(d) {
			t.Errorf("%+v: %g", e, d)
		}
	}
}

// What one trial's own standard error promises, the next trial shows in 77 to 83 % of
// cases. 40,000 pairs of trials each: Monte Carlo error 0.2 %.
func TestPromisedDifferenceIsShown(t *testing.T) {
	t.Parallel()
	const trials = 40_000
	rng := rand.New(rand.NewPCG(77, 83))
	var q studentized
	for _, k := range []int{2, 3, 4, 6} {
		for _, df := range []float64{2, 3, 4, 6, 10, 20, 60} {
			p := q.pair(1, 0, Estimate{SE: 1, DF: df}, k)
			promise, chi := p.Detectable(), distuv.ChiSquared{K: df, Src: rng}
			shown := 0
			for range trials {
				before, next := math.Sqrt(chi.Rand()/df), math.Sqrt(chi.Rand()/df)
				if promise*before+rng.NormFloat64() > p.Critical*next {
					shown++
				}
			}
			if share := float64(shown) / trials; !(0.77 <= share && share <= 0.83) {
				t.Errorf("%d levels on %g degrees of freedom: shown in %.3f", k, df, share)
			}
		}
	}
}

// The same where slopes carry a part of the error. 700 promises and 20
// next trials of each: Monte Carlo error 1 %.
func TestPromisedDifferenceIsShownBesideSlopes(t *testing.T) {
	t.Parallel()
	const trials = 700
	rng := rand.New(rand.NewPCG(83, 77))
	for _, c := range []struct {
		k         int
		a, b      float64
		df, slope float64
	}{{2, 1, 1, 4, 60}, {3, 1, 0.3, 3, 130}, {3, 1, 1, 6, 40}, {4, 0.3, 1, 8, 100}} {
		scatter, slope := distuv.ChiSquared{K: c.df, Src: rng}, distuv.ChiSquared{K: c.slope, Src: rng}
		var own, other studentized
		o, s := own.pair(1, 0, Estimate{SE: 1, DF: c.df}, c.k).Critical, other.pair(1, 0, Estimate{SE: 1, DF: c.slope}, c.k).Critical
		draw := func() (e Estimate, half float64) {
			a, b := c.a*scatter.Rand()/c.df, c.b*slope.Rand()/c.slope
			return Estimate{SE: math.Sqrt(a + b), DF: c.df, Carried: &Carried{math.Sqrt(a), math.Sqrt(b), c.slope}}, math.Sqrt(o*o*a + s*s*b)
		}
		shown := 0
		for range trials {
			before, half := draw()
			w := o * before.Carried.Scatter / half
			promise := before.detectable(half/before.SE, widthDF(w*w, before), nil)
			for range 20 {
				if _, next := draw(); promise+math.Sqrt(c.a+c.b)*rng.NormFloat64() > next {
					shown++
				}
			}
		}
		if share := float64(shown) / (20 * trials); !(0.77 <= share && share <= 0.83) {
			t.Errorf("%+v: shown in %.3f", c, share)
		}
	}
}
