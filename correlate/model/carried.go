package model

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"

	"parstead/correlate/dist"
)

// slopes are what adjusted the values of whole units: each of a covariate or of
// light, estimated among the plants. Their errors are shared by all units.
type slopes struct {
	at  [][]float64 // by slope: the units' mean of its variable, less the mean over the rows
	cov [][]float64 // of the slopes
	df  float64     // that cov is estimated on; 0 where no row was left to measure it by
}

var errNoSlopeError = errors.New("no plant is left to measure the error of the slopes by that adjust them: leave out a covariate or light")

// carrier is what slopes do to the estimates of a model of units.
type carrier struct {
	z   [][]float64 // by slope: its variable in the coordinates of the model's Q
	cov [][]float64
	df  float64
}

// carrier takes the units' variables, each row times its weight's square root
// where weights are given, into the coordinates of Q.
func (s *slopes) carrier(q [][]float64, weighted func(x []float64) []float64) *carrier {
	if s == nil {
		return nil
	}
	c := &carrier{cov: s.cov, df: s.df}
	for _, x := range s.at {
		x = weighted(x)
		z := make([]float64, len(q))
		for k, u := range q {
			z[k] = dot(u, x)
		}
		c.z = append(c.z, z)
	}
	return c
}

// shared is the covariance that the slopes give two linear functions wᵀβ, where
// g and h solve Rᵀg = w.
//
//	(Zᵀ Q g)ᵀ Cov(b) (Zᵀ Q h)
func (c *carrier) shared(g, h []float64) float64 {
	var sum float64
	for i, row := range c.cov {
		for j, v := range row {
			sum += dot(c.z[i], g) * v * dot(c.z[j], h)
		}
	}
	return sum
}

// into adds what the slopes carry into an estimate; nil adds nothing.
func (c *carrier) into(e Estimate, g []float64) Estimate {
	if c == nil || !(e.SE > 0) {
		return e
	}
	slope := math.Sqrt(math.Max(0, c.shared(g, g)))
	e.Carried = &Carried{Scatter: e.SE, Slope: slope, DF: c.df}
	e.SE = math.Hypot(e.SE, slope)
	return e
}

// Carried is the error that slopes carry into an estimate from the plants, on
// degrees of freedom of its own, beside that of the units' scatter.
type Carried struct {
	Scatter, Slope float64 // standard errors; the estimate's is √(Scatter² + Slope²)
	DF             float64 // of Slope
}

// critical is half the width, in standard errors, of an interval at 1 − p over
// all pairs of so many means.
//
//	q₍ₖ,ν₎/√2, for two means Student's t
type critical struct {
	means int
	df    float64
	r     *dist.StudentizedRange
}

func (c *critical) of(means int, df float64) *critical {
	if c.means != means || c.df != df {
		*c = critical{means: means, df: df}
		if means > 2 {
			c.r = dist.NewStudentizedRange(means, df)
		}
	}
	return c
}

func (c *critical) point(p float64) float64 {
	switch {
	case p >= 1:
		return 0
	case c.r != nil:
		return c.r.InverseSurvival(p) / math.Sqrt2
	}
	return Estimate{DF: c.df}.quantile(p)
}

func (c *critical) tail(x float64) float64 {
	if c.r != nil {
		return c.r.Survival(math.Sqrt2 * x)
	}
	return Estimate{Value: x, SE: 1, DF: c.df}.P()
}

// twoPart compares by the scatter of units and by slopes, each with its own
// critical point.
//
//	half-width² = (c₁ Scatter)² + (c₂ Slope)²
//
// p is the level at which the half-width is |d|. The interval holds at least at
// its level, since it does for every ratio of the two variances.
//
// Banerjee (1960), Sankhyā 22:121–136, of Student's t (from memory); for all
// pairs by the points of the studentized range. Held in simulation where one
// number of degrees of freedom for the sum (Satterthwaite) did not.
type twoPart struct{ scatter, slope critical }

func (t *twoPart) of(means int, e Estimate) *twoPart {
	t.scatter.of(means, e.DF)
	t.slope.of(means, e.Carried.DF)
	return t
}

func (t *twoPart) half(p float64, c *Carried) float64 {
	return math.Hypot(t.scatter.point(p)*c.Scatter, t.slope.point(p)*c.Slope)
}

// p solves half(p) = d; the p by either part alone is no larger.
func (t *twoPart) p(d float64, c *Carried) float64 {
	least := t.scatter.tail(d / c.Scatter)
	if c.Slope > 0 {
		least = max(least, t.slope.tail(d/c.Slope))
	}
	if !(least > 0 && least < 1) {
		return least
	}
	over := func(x float64) float64 { return (t.half(math.Exp(x), c) - d) / d }
	lo := math.Log(least)
	first := over(lo)
	if first <= 0 { // but for rounding
		return least
	}
	return math.Exp(dist.Root(over, lo, first, 0, -1, 1e-13))
}

// carriedTests tests the effects of units that slopes adjusted. What several
// levels or one contrast do is judged by pairs: a treatment's p is its smallest
// pair p. Effects of more degrees of freedom that are no treatment's are tested
// by their joint covariance V.
//
//	F = (Lβ)ᵀ V⁻¹ (Lβ) / rank L, on the units' degrees of freedom
//
// With one degree of freedom only a single contrast is tested.
func carriedTests(m Model, d *Design, df float64, covariance func(g, h []float64) float64, coordinates func(w []float64) []float64) ([]Test, error) {
	return d.each(func(effect int) (Test, error) {
		e := d.Effects[effect]
		t := Test{Term: e.Term, DF: [2]float64{float64(e.End - e.First), df}}
		if e.Kind == KindTreatment {
			return t, t.smallest(m, d, e.Factors[0])
		}
		t.TooFew = df < 2 && e.End-e.First > 1
		if t.TooFew {
			return t, nil
		}
		rank := e.End - e.First
		value, v := mat.NewVecDense(rank, nil), mat.NewSymDense(rank, nil)
		g := make([][]float64, rank)
		for i := range g {
			w := make([]float64, len(d.Columns))
			w[e.First+i] = 1
			one := m.Linear(w)
			if !one.OK() {
				return t, nil
			}
			if rank == 1 {
				t.Statistic, t.P, t.OK = Pairs, one.P(), true
				return t, nil
			}
			g[i] = coordinates(w)
			value.SetVec(i, one.Value)
			for j := range i + 1 {
				v.SetSym(i, j, covariance(g[i], g[j]))
			}
		}
		var c mat.Cholesky
		var solved mat.VecDense
		if !c.Factorize(v) || c.SolveVecTo(&solved, value) != nil {
			return t, nil //nolint:nilerr // contrasts that can't be told apart have no joint test
		}
		t.f(mat.Dot(value, &solved) / float64(rank))
		return t, nil
	})
}

// smallest fills in the smallest p of a treatment's pairs.
func (t *Test) smallest(m Model, d *Design, factor int) error {
	means, err := Compare(m, d, Family{Term: t.Term, Cells: d.cells(factor)})
	if err != nil {
		return err
	}
	t.P = math.Inf(1)
	for _, p := range means.Pairs {
		t.TooFew, t.Eventless = t.TooFew || p.TooFew, t.Eventless || p.Eventless
		if !p.TooFew {
			t.P = math.Min(t.P, p.P)
		}
	}
	if t.OK = t.P <= 1; t.OK {
		t.Statistic = Pairs
	}
	return nil
}
