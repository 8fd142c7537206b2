package model

import (
	"errors"
	"fmt"
	"math"
)

// Errors of Fit that data can cause, beside *CollinearError and *RowError.
var (
	ErrNoSpread = errors.New("every row has the same value: there is nothing to explain")
	ErrTooAlike = errors.New("the values differ by less than can be reckoned with: give the outcome in a smaller unit, or less what all rows have in common")
	ErrTooFew   = errors.New("no row is left to measure the spread by")
)

// Fit is a least-squares fit of one outcome.
//
//	y = X β + e,  RSS = |e|²,  s² = RSS / (n − p)
type Fit struct {
	Design    *Design
	Y         []float64
	Beta      []float64
	Residuals []float64
	Hat       []float64 // diagonal of X (XᵀX)⁻¹ Xᵀ
	RSS       float64
	DF        int // n − p, at least 1

	// Exact tells that the residuals are nothing but rounding. They and RSS are
	// then zero, and no test or interval can be given.
	Exact bool

	basis   *basis
	z       []float64 // Qᵀ y
	carrier *carrier  // nil where no slopes adjusted the rows
	least   []float64 // of each row's variance what is known of it, at least; nil where nothing is
}

// exactLimit is the share of an outcome's spread under which residuals are rounding.
const exactLimit = 1e-12

// Fit fits the outcome y, one value a row, by least squares.
//
// Errors: a *CollinearError; ErrNoSpread; ErrTooAlike; one that wraps ErrTooFew where there
// are no more rows than columns; a value that is not finite or beyond 1e70.
func (d *Design) Fit(y []float64) (*Fit, error) {
	if len(y) != d.N {
		panic("model: the outcome's length differs from the number of rows")
	}
	if err := inRange("the outcome", y); err != nil {
		return nil, err
	}
	if p := len(d.Columns); d.N <= p {
		return nil, fmt.Errorf("%d rows for %d coefficients: %w: leave out a column or a level", d.N, p, ErrTooFew)
	}
	return d.fit(y)
}

// noSpread tells values that are the same from values that differ too little.
func noSpread(y []float64) error {
	for _, v := range y {
		if v != y[0] {
			return ErrTooAlike
		}
	}
	return ErrNoSpread
}

// fit also fits as many columns as there are rows; DF is then zero.
func (d *Design) fit(y []float64) (*Fit, error) {
	b, err := d.basis(nil)
	if err != nil {
		return nil, err
	}
	spread, size := append([]float64(nil), y...), norm(y)
	if d.Columns[0].Kind == KindIntercept {
		project(spread, b.q[:1], make([]float64, 1))
	}
	total := norm(spread)
	if total <= constantLimit*size || total < smallest {
		return nil, noSpread(y)
	}
	f := &Fit{
		Design: d, Y: y, DF: d.N - len(d.Columns), Hat: b.hat(),
		Residuals: append([]float64(nil), y...), basis: b, z: make([]float64, len(b.q)),
	}
	b.project(f.Residuals, f.z)
	f.Beta = b.solve(f.z)
	if left := norm(f.Residuals); left <= exactLimit*total {
		clear(f.Residuals)
		f.Exact = true
	} else {
		f.RSS = left * left
	}
	return f, nil
}

// MeanSquare is s², the residual mean square.
func (f *Fit) MeanSquare() float64 { return f.RSS / float64(f.DF) }

// SD is s, the residual standard deviation.
func (f *Fit) SD() float64 { return math.Sqrt(f.MeanSquare()) }

// Linear estimates the linear function wᵀβ of the coefficients.
//
//	se² = s² · wᵀ (XᵀX)⁻¹ w, and at least Σ cᵢ² vᵢ where wᵀβ = Σ cᵢ yᵢ
//
// and what the slopes that adjusted the rows add; vᵢ is the least variance of a row.
func (f *Fit) Linear(w []float64) Estimate {
	g := f.basis.solveT(w)
	return f.carrier.into(Estimate{Value: dot(g, f.z), SE: max(f.SD()*norm(g), f.leastError(g)), DF: float64(f.DF)}, g)
}

// AtLeast tells whether the error of wᵀβ is what the rows' least variances make it,
// since the residuals came out smaller.
func (f *Fit) AtLeast(w []float64) bool {
	g := f.basis.solveT(w)
	return f.leastError(g) > f.SD()*norm(g)
}

// leastError is the standard error that the rows' least variances give wᵀβ, where g
// solves Rᵀg = w.
func (f *Fit) leastError(g []float64) float64 {
	var variance float64
	for i, v := range f.least {
		var c float64
		for k, q := range f.basis.q {
			c += g[k] * q[i]
		}
		variance += c * c * v
	}
	return math.Sqrt(variance)
}

// Coefficient is one estimated coefficient with its identity.
type Coefficient struct {
	Term
	Level, Against string
	Estimate
	Profile *Profile // nil where the test and the interval are the estimate's own
	HC3     Estimate // the same value with the heteroscedasticity-consistent standard error
	HC3OK   bool     // false without one, and where a row alone determines a coefficient
}

// P is the two-sided p value of no effect.
func (c Coefficient) P() float64 {
	if c.Profile != nil {
		return c.Profile.P
	}
	return c.Estimate.P()
}

// CI95 is the single 95 % interval.
func (c Coefficient) CI95() [2]float64 {
	if c.Profile != nil {
		return c.Profile.Limits
	}
	return c.Estimate.CI95()
}

// coefficients estimates each of the design's coefficients by the unit vector
// that it is the linear function of.
func (d *Design) coefficients(estimate func(w []float64, c *Coefficient) error) ([]Coefficient, error) {
	list := make([]Coefficient, len(d.Columns))
	w := make([]float64, len(d.Columns))
	for j, c := range d.Columns {
		clear(w)
		w[j] = 1
		list[j] = Coefficient{Term: c.Term, Level: c.Level, Against: c.Against}
		if err := estimate(w, &list[j]); err != nil {
			return nil, err
		}
	}
	return list, nil
}

// Coefficients lists the coefficients in the design's order.
func (f *Fit) Coefficients() ([]Coefficient, error) {
	meat, ok := f.hc3()
	j := 0
	return f.Design.coefficients(func(w []float64, c *Coefficient) error {
		c.Estimate, c.HC3OK = f.Linear(w), ok
		c.Value = f.Beta[j] // the more exact by a digit or two
		j++
		if ok {
			c.HC3 = Estimate{Value: c.Value, SE: math.Sqrt(quadratic(f.basis.solveT(w), meat)), DF: c.DF}
		}
		return nil
	})
}

// Estimate is an estimated quantity with its standard error; DF is infinite
// where the normal distribution takes the place of Student's t. Without a
// spread (SE zero) it has no test: see OK.
type Estimate struct {
	Value, SE, DF float64
	Carried       *Carried // what slopes add to SE, DF being of the rest; nil where nothing
}

// OK tells whether the estimate has a test and an interval.
func (e Estimate) OK() bool {
	return e.SE > 0 && !math.IsInf(e.SE, 0) && !math.IsNaN(e.Value) && !math.IsInf(e.Value, 0) && e.DF > 0
}

// P is the two-sided p value of no effect.
func (e Estimate) P() float64 {
	if e.Carried != nil {
		return new(twoPart).of(2, e).p(math.Abs(e.Value), e.Carried)
	}
	t := e.Value / e.SE
	if math.IsInf(e.DF, 1) {
		return math.Erfc(math.Abs(t) / math.Sqrt2)
	}
	return tTwoSided(t, e.DF)
}

// CI95 is the single 95 % interval.
func (e Estimate) CI95() [2]float64 { return e.within(e.critical()) }

// critical is half the width of CI95 in standard errors.
func (e Estimate) critical() float64 {
	if e.Carried != nil {
		return new(twoPart).of(2, e).half(0.05, e.Carried) / e.SE
	}
	return e.quantile(0.05)
}

// Freedom is the degrees of freedom of SE: of the sum of two parts by the rule of
// Satterthwaite (1946), Biometrics Bulletin 2:110–114.
func (e Estimate) Freedom() float64 {
	c := e.Carried
	if c == nil {
		return e.DF
	}
	a, b := math.Pow(c.Scatter/e.SE, 4), math.Pow(c.Slope/e.SE, 4)
	return 1 / (a/e.DF + b/c.DF)
}

// Detectable is the smallest true value that CI95 would show in four cases of five; see
// Pair.Detectable.
func (e Estimate) Detectable() float64 { return e.detectable(e.critical(), e.Freedom(), nil) }

func (e Estimate) within(t float64) [2]float64 {
	return [2]float64{e.Value - t*e.SE, e.Value + t*e.SE}
}

// quantile is the point exceeded in size with probability p.
func (e Estimate) quantile(p float64) float64 {
	if math.IsInf(e.DF, 1) {
		return math.Sqrt2 * math.Erfcinv(p)
	}
	return tQuantile(p, e.DF)
}
