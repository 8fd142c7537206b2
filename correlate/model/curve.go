package model

import (
	"errors"
	"fmt"
	"math"
	"slices"
)

// Shape is a curve of an outcome over light L.
type Shape string

// The shapes. On the natural scale they are added to the other terms as they
// stand; on a log scale the shape is the log of the curve, so that the other
// terms are factors of it.
//
//	             natural scale           log scale
//	straight     b L                     b ln L
//	hyperbola    b L/(K + L)             ln(L/(K + L))
//	exponential  b (1 − exp(−L/K))       ln(1 − exp(−L/K))
//	quadratic    b₁ L + b₂ L²            b₁ L + b₂ L²
const (
	Straight    Shape = "straight"
	Hyperbola   Shape = "hyperbola"
	Exponential Shape = "exponential"
	Quadratic   Shape = "quadratic"
)

// Shapes lists them in the order in which they are fitted and told.
var Shapes = []Shape{Straight, Hyperbola, Exponential, Quadratic}

// Why a curve is not fitted, beside the errors of Fit.
var (
	ErrNoBend    = errors.New("the outcome does not level off within the measured light: a bent curve cannot be told from a straight line")
	ErrSaturated = errors.New("the outcome has levelled off below the least measured light: how fast it rises cannot be told")
	ErrFewLights = errors.New("light takes too few different values beside the other terms for this shape")
	ErrDarkLight = errors.New("light is zero or negative on some rows: this shape needs it above zero")
)

// Curve is one shape fitted to light, beside blocks, bins, treatments and
// covariates.
type Curve struct {
	Shape Shape
	Err   error // why the shape is not fitted; all else is then empty
	RSS   float64
	DF    int // n − p

	// AIC = n ln 2π + n ln(RSS/n) + n + 2(p + 1), the variance counted as a
	// parameter; AICc adds 2k(k+1)/(n − k − 1), k = p + 1. Weight is the Akaike
	// weight by AICc among the shapes fitted.
	AIC, AICc, Weight float64
	OK                bool // AIC, AICc and Weight exist: a spread is left and rows suffice

	Parameters []Parameter

	terms *curveTerms
	line  *line // the fit with K held at its estimate
	bent  *bent // nil for shapes without K
}

// Parameter is an estimated parameter of a curve.
type Parameter struct {
	Name         string // intercept, b, K, b1, b2, optimum
	Estimate, SE float64
	SEOK         bool // false where no spread is left
	CI95         [2]float64
	CIOK         bool   // false where the data leave the parameter open on a side
	Why          string // reason where CIOK is false
}

// Prediction is the outcome that a curve gives at a light, with its 95 % band.
type Prediction struct {
	Light, Value float64
	CI95         [2]float64
	CIOK         bool
}

// CurveOptions say how light curves are fitted.
type CurveOptions struct {
	Log bool // the outcome is a natural logarithm

	// NoGrowthInDark leaves out intercept, block, bins, treatments and their
	// interactions, so that the curves pass through zero in the dark. On a log
	// scale they do so anyway, and the intercept stays: it is the log of b.
	NoGrowthInDark bool
}

// Curves fits all shapes to the outcome y, one value a row; t.Light must be set.
//
// K is found by variable projection [1]: for each K all else is linear, and the
// best K is sought over a grid of ln K, then by its derivative. A K at the
// grid's bound is no estimate: the shape has Err. Intervals are by the profile
// of the residual sum of squares [2]: all values for which
//
//	{RSS(value) − RSS} / s² ≤ F₀.₉₅(1, n − p)
//
// For parameters that are linear given K, the ends are found among the linear
// intervals over K, which is the same.
//
// Errors: those of NewDesign and Fit that hold for every shape.
//
//  1. Golub, Pereyra (1973), SIAM Journal on Numerical Analysis 10:413–432.
//  2. Bates, Watts (1988), Nonlinear Regression Analysis, section 6.1.
func Curves(n int, t Terms, y []float64, opt CurveOptions) ([]Curve, error) {
	c, err := newCurveTerms(n, t, y, opt)
	if err != nil {
		return nil, err
	}
	curves := make([]Curve, len(Shapes))
	for i, shape := range Shapes {
		curves[i] = c.fit(shape)
	}
	weigh(curves)
	return curves, nil
}

// weigh gives the curves their Akaike weights.
//
//	wᵢ = exp(−Δᵢ/2) / Σ exp(−Δⱼ/2)
func weigh(curves []Curve) {
	best, sum := math.Inf(1), 0.0
	for _, c := range curves {
		if c.OK {
			best = min(best, c.AICc)
		}
	}
	for _, c := range curves {
		if c.OK {
			sum += math.Exp((best - c.AICc) / 2)
		}
	}
	for i, c := range curves {
		if c.OK {
			curves[i].Weight = math.Exp((best-c.AICc)/2) / sum
		}
	}
}

// curveTerms is what all shapes have in common: the terms beside light.
type curveTerms struct {
	base    *Design // nil where there is no other term
	columns [][]float64
	average []float64 // weights of the adjusted mean over the base's columns
	centre  bool      // the first column is the intercept
	light   []float64
	y       []float64
	log     bool
	exact   float64 // RSS under which residuals are rounding
}

func newCurveTerms(n int, t Terms, y []float64, opt CurveOptions) (*curveTerms, error) {
	if len(y) != n || t.Light == nil || len(t.Light.Values) != n {
		panic("model: curves need light and an outcome on every row")
	}
	for _, v := range []struct {
		name   string
		values []float64
	}{{"the outcome", y}, {"light", t.Light.Values}} {
		if err := inRange(v.name, v.values); err != nil {
			return nil, err
		}
	}
	c := &curveTerms{light: t.Light.Values, y: y, log: opt.Log}
	t.Light = nil
	if opt.NoGrowthInDark {
		t = Terms{Covariates: t.Covariates, NoIntercept: !opt.Log}
	}
	if !t.NoIntercept || len(t.Covariates) > 0 {
		var err error
		if c.base, err = NewDesign(n, t); err != nil {
			return nil, err
		}
		for _, column := range c.base.Columns {
			c.columns = append(c.columns, column.Values)
		}
		c.average = c.base.Weights()
		c.centre = c.base.Columns[0].Kind == KindIntercept
		if _, err := c.base.basis(nil); err != nil {
			return nil, err
		}
	}
	spread := slices.Clone(y)
	if c.centre {
		m := mean(y)
		for i := range spread {
			spread[i] -= m
		}
	}
	total := norm(spread)
	if total <= constantLimit*norm(y) || total < smallest {
		return nil, noSpread(y)
	}
	c.exact = exactLimit * exactLimit * total * total
	return c, nil
}

// needs tells whether light allows the shape.
func (c *curveTerms) needs(s Shape) error {
	for _, l := range c.light {
		switch {
		case s == Quadratic || s == Straight && !c.log:
		case l < 0, l == 0 && c.log:
			return ErrDarkLight
		}
	}
	return nil
}

func (c *curveTerms) fit(s Shape) Curve {
	curve := Curve{Shape: s, terms: c}
	if curve.Err = c.needs(s); curve.Err != nil {
		return curve
	}
	parameters := len(c.columns) + s.parameters(c.log)
	n := len(c.y)
	if curve.DF = n - parameters; curve.DF < 1 {
		curve.Err = fmt.Errorf("%d rows for %d parameters: %w", n, parameters, ErrTooFew)
		return curve
	}
	if s.bent() {
		curve.bent, curve.Err = c.bend(s)
	} else {
		curve.line, curve.Err = c.straight(c.y, s.columns(c.light, 0, c.log))
	}
	if curve.Err != nil {
		return curve
	}
	if curve.bent != nil {
		curve.line = curve.bent.line
	}
	curve.RSS = curve.line.rss
	if curve.RSS <= c.exact {
		curve.RSS = 0
	}
	curve.describe()
	if k := float64(parameters + 1); curve.RSS > 0 {
		size := float64(n)
		curve.AIC = size*math.Log(2*math.Pi) + size*math.Log(curve.RSS/size) + size + 2*k
		if curve.OK = size-k-1 > 0; curve.OK {
			curve.AICc = curve.AIC + 2*k*(k+1)/(size-k-1)
		}
	}
	return curve
}

// line is a linear fit of the base's columns and those of a shape.
type line struct {
	basis *basis
	z     []float64
	beta  []float64
	rss   float64
	left  []float64 // residuals
}

func (c *curveTerms) straight(y []float64, extra [][]float64) (*line, error) {
	b, err := newBasis(slices.Concat(c.columns, extra), c.centre)
	if err != nil {
		return nil, ErrFewLights
	}
	l := &line{basis: b, z: make([]float64, len(b.q)), left: slices.Clone(y)}
	b.project(l.left, l.z)
	l.beta = b.solve(l.z)
	l.rss = dot(l.left, l.left)
	return l, nil
}

// describe lists the parameters.
func (c *Curve) describe() {
	first := len(c.terms.columns)
	if c.terms.centre {
		c.add("intercept", c.unit(0))
	}
	switch {
	case c.bent != nil:
		if c.bent.scaled {
			c.add("b", c.unit(first))
		}
		c.Parameters = append(c.Parameters, c.bent.parameter(c))
	case c.Shape == Quadratic:
		c.add("b1", c.unit(first))
		c.add("b2", c.unit(first+1))
		c.optimum()
	default:
		c.add("b", c.unit(first))
	}
}

// unit is the linear function that is the j-th coefficient.
func (c *Curve) unit(j int) []float64 {
	w := make([]float64, len(c.line.beta))
	w[j] = 1
	return w
}

// add gives the linear parameter wᵀβ its estimate and interval.
func (c *Curve) add(name string, w []float64) {
	p := Parameter{Name: name, Estimate: dot(w, c.line.beta)}
	if c.RSS == 0 {
		p.Why = "no spread is left to measure by"
	} else {
		p.SE, p.SEOK = c.se(w), true
		p.CI95, p.CIOK, p.Why = c.interval(w, true)
	}
	c.Parameters = append(c.Parameters, p)
}

// reach is the rise of RSS within a 95 % interval: s² F₀.₉₅(1, n − p).
func (c *Curve) reach() float64 {
	t := tQuantile(0.05, float64(c.DF))
	return t * t * c.RSS / float64(c.DF)
}

// se is the standard error of wᵀβ, K estimated too.
func (c *Curve) se(w []float64) float64 {
	s := math.Sqrt(c.RSS / float64(c.DF))
	if c.bent == nil {
		return s * norm(c.line.basis.solveT(w))
	}
	return s * norm(c.bent.jacobian.solveT(append(slices.Clone(w), 0)))
}

// interval is that of wᵀβ; a parameter of the shape itself is open where K is.
func (c *Curve) interval(w []float64, parameter bool) (ends [2]float64, ok bool, why string) {
	if c.bent != nil {
		if why = c.bent.open(); why != "" && parameter {
			return ends, false, why
		}
		return c.bent.interval(w, c.reach()), true, ""
	}
	value, half := dot(w, c.line.beta), math.Sqrt(c.reach())*norm(c.line.basis.solveT(w))
	return [2]float64{value - half, value + half}, true, ""
}

// optimum adds the light of the largest outcome, −b₁/2b₂, where b₂ is negative.
// Its interval holds every light at which a slope b₁ + 2b₂L of zero is not
// rejected.
//
// Fieller (1954), J. R. Statist. Soc. B 16:175–185.
func (c *Curve) optimum() {
	first := len(c.terms.columns)
	b1, b2 := c.line.beta[first], c.line.beta[first+1]
	if !(b2 < 0) {
		return
	}
	p := Parameter{Name: "optimum", Estimate: -b1 / (2 * b2)}
	if c.RSS == 0 {
		p.Why = "no spread is left to measure by"
	} else {
		s2 := c.RSS / float64(c.DF)
		g1, g2 := c.line.basis.solveT(c.unit(first)), c.line.basis.solveT(c.unit(first+1))
		v11, v12, v22 := s2*dot(g1, g1), s2*dot(g1, g2), s2*dot(g2, g2)
		l := p.Estimate
		p.SE, p.SEOK = math.Sqrt(v11+4*l*v12+4*l*l*v22)/(2*math.Abs(b2)), true
		// (b₁ + 2b₂L)² ≤ F (v₁₁ + 4Lv₁₂ + 4L²v₂₂)
		f := c.reach() / s2
		qa, qb, qc := 4*(b2*b2-f*v22), 4*(b1*b2-f*v12), b1*b1-f*v11
		if d := qb*qb - 4*qa*qc; qa > 0 && d >= 0 {
			p.CI95 = [2]float64{(-qb - math.Sqrt(d)) / (2 * qa), (-qb + math.Sqrt(d)) / (2 * qa)}
			p.CIOK = true
		} else {
			p.Why = "the data do not show that the curve bends: its optimum may lie anywhere"
		}
	}
	c.Parameters = append(c.Parameters, p)
}

// Predict gives the outcome at a light, factors' levels weighted equally and
// covariates at their mean, on the scale of the analysis; with the band's
// interval there. ok is false where the shape is not fitted or has no value at
// that light.
func (c *Curve) Predict(light float64) (p Prediction, ok bool) {
	if c.Err != nil || light < 0 || light == 0 && c.terms.log && c.Shape != Quadratic {
		return Prediction{}, false
	}
	var k float64
	if c.bent != nil {
		k = c.bent.k
	}
	p.Light = light
	w := slices.Clone(c.terms.average)
	extra := c.Shape.columns([]float64{light}, k, c.terms.log)
	if c.bent == nil || c.bent.scaled {
		for _, column := range extra {
			w = append(w, column[0])
		}
		p.Value = dot(w, c.line.beta)
	} else {
		p.Value = dot(w, c.line.beta) + extra[0][0]
	}
	if c.RSS == 0 {
		return p, true
	}
	p.CIOK = true
	if c.bent == nil {
		p.CI95, _, _ = c.interval(w, false)
	} else {
		p.CI95 = c.bent.band(light, c.reach())
	}
	return p, true
}
