package model

import (
	"errors"
	"fmt"
	"math"

	"parstead/correlate/dist"
)

// Errors of Count that data can cause, beside those of Fit.
var (
	ErrNoEvents = errors.New("not a single event was counted: there is nothing to compare")
	ErrUnlikely = errors.New("no negative binomial makes these counts likelier than chance alone does: it has no size")
)

// maxCount bounds a count: beyond it a float64 does not hold every whole number.
const maxCount = 1e15

// CountFit is a fit of counts by quasi-likelihood with a log link.
//
//	E y = μ = exposure · exp(Xβ),  var y = φ μ
//	φ = Pearson's χ² / (n − p) = Σ (y − μ)²/μ / (n − p)
//
// φ below one is allowed: leaves vary less than chance.
//
// A level without any event has no finite mean on the log scale. The fit is then
// the limit: its rows have mean zero, and the linear functions that it takes
// part in are not estimable. These rows tell nothing of how counts vary and are no
// degrees of freedom, so that all else is as in the fit without them.
//
// Wedderburn (1974), Biometrika 61:439–447; McCullagh, Nelder (1989),
// Generalized Linear Models, chapters 6 and 9.
type CountFit struct {
	Design     *Design
	Y          []float64
	Mean       []float64 // fitted
	Deviance   float64
	Dispersion float64 // φ
	DF         int     // n − p, of the rows whose mean is above zero and what they determine

	// Exact tells that the residuals are nothing but rounding: φ is zero and no
	// test or interval can be given.
	Exact bool

	// AtLeast tells that φ is what the plants of whole units make it at least, since
	// these differed less by chance.
	AtLeast bool

	repeats bool // every count but for rounding
	offset  []float64
	glm     *loglinear
	carrier *carrier // nil where no slopes adjusted the exposures
}

// Count fits the counts y, one a row. exposure, one a row and above zero, is
// what the events are counted per; nil: every row counts alike.
//
// Errors: those of Fit; ErrNoEvents; a count that is negative, not whole or
// beyond 1e15; an exposure that is not above zero.
func (d *Design) Count(y, exposure []float64) (*CountFit, error) {
	if len(y) != d.N || exposure != nil && len(exposure) != d.N {
		panic("model: the counts' length differs from the number of rows")
	}
	f := &CountFit{Design: d, Y: y, offset: make([]float64, d.N), DF: d.N - len(d.Columns)}
	same, sum := true, 0.0
	for i, v := range y {
		if !(v >= 0 && v <= maxCount && v == math.Trunc(v)) {
			return nil, &RowError{i, fmt.Sprintf("%g is not a count: counts are whole numbers from 0", v)}
		}
		sum += v
		same = same && v == y[0]
		if exposure != nil {
			if !(exposure[i] > 0 && exposure[i] <= largest) {
				return nil, &RowError{i, fmt.Sprintf("exposure %g is none: it must be above zero", exposure[i])}
			}
			f.offset[i] = math.Log(exposure[i])
			same = same && exposure[i] == exposure[0]
		}
	}
	switch {
	case sum == 0:
		return nil, ErrNoEvents
	case same:
		return nil, ErrNoSpread
	case f.DF < 1:
		return nil, fmt.Errorf("%d rows for %d coefficients: %w: leave out a column or a level", d.N, len(d.Columns), ErrTooFew)
	}
	if _, err := d.basis(nil); err != nil {
		return nil, err
	}
	f.glm = f.columns(allColumns(d))
	if err := f.glm.fit(nil); err != nil {
		return nil, err
	}
	f.Mean, f.Deviance, f.DF = f.glm.mean, f.glm.deviance, -len(f.glm.kept)
	for _, used := range f.glm.used {
		if used {
			f.DF++
		}
	}
	if f.DF < 1 {
		return nil, fmt.Errorf("where anything was counted: %w", ErrTooFew)
	}
	var chi2 float64
	for _, r := range f.PearsonResiduals() {
		chi2 += r * r
	}
	f.repeats = chi2 <= exactLimit*exactLimit*sum
	if f.Exact = f.repeats; !f.Exact {
		f.Dispersion = chi2 / float64(f.DF)
	}
	return f, nil
}

func allColumns(d *Design) []int {
	all := make([]int, len(d.Columns))
	for j := range all {
		all[j] = j
	}
	return all
}

// columns is the model of the given columns alone.
func (f *CountFit) columns(list []int) *loglinear {
	m := &loglinear{y: f.Y, offset: f.offset, size: math.Inf(1)}
	for _, j := range list {
		m.columns = append(m.columns, f.Design.Columns[j].Values)
	}
	return m
}

// PearsonResiduals are (y − μ)/√μ; 0 for a row of a level without events.
func (f *CountFit) PearsonResiduals() []float64 {
	r := make([]float64, len(f.Y))
	for i, mu := range f.Mean {
		if mu > 0 {
			r[i] = (f.Y[i] - mu) / math.Sqrt(mu)
		}
	}
	return r
}

// Partial tests every effect but the intercept: the drop in deviance when the
// effect joins all effects that do not contain it, against φ of the full model.
//
//	F = (ΔD / df) / φ
//
// Where slopes adjusted the exposures, see carriedTests. A treatment with a level
// that has no event has the smallest p of its pairs; an interaction with such a cell
// has no test.
func (f *CountFit) Partial() ([]Test, error) {
	if f.carrier != nil {
		covariance := func(g, h []float64) float64 { return f.Dispersion*dot(g, h) + f.carrier.shared(g, h) }
		return carriedTests(f, f.Design, float64(f.DF), covariance, f.glm.solveT)
	}
	return f.Design.each(func(effect int) (Test, error) {
		e := f.Design.Effects[effect]
		if none, err := f.withoutF(e); none != nil {
			return *none, err
		}
		t := Test{Term: e.Term, DF: [2]float64{float64(e.End - e.First), float64(f.DF)}}
		drop, err := f.drop(effect, f.columns, f.Deviance)
		if err == nil && !f.Exact {
			t.f(drop / t.DF[0] / f.Dispersion)
		}
		return t, err
	})
}

// drop is the fall of deviance when an effect joins all effects that do not
// contain it; build makes the model of some columns and full is the deviance of
// all of them.
func (f *CountFit) drop(effect int, build func([]int) *loglinear, full float64) (float64, error) {
	columns, before := f.Design.around(effect)
	without := build(columns[:before])
	if err := without.fit(nil); err != nil {
		return 0, err
	}
	if len(columns) < len(f.Design.Columns) {
		with := build(columns)
		if err := with.fit(nil); err != nil {
			return 0, err
		}
		full = with.deviance
	}
	return math.Max(0, without.deviance-full), nil
}

// Linear estimates the linear function wᵀβ on the scale of the natural log. A
// function that a level without events leaves without limit has Value ±Inf and
// is not OK.
func (f *CountFit) Linear(w []float64) Estimate {
	value, se := f.glm.linear(w)
	e := Estimate{Value: value, SE: se * math.Sqrt(f.Dispersion), DF: float64(f.DF)}
	if f.carrier == nil || !e.OK() {
		return e
	}
	return f.carrier.into(e, f.glm.solveT(w))
}

// carry takes the error of the slopes into the model's estimates.
func (f *CountFit) carry(s *slopes) {
	f.carrier = s.carrier(f.glm.basis.q, func(x []float64) []float64 {
		var weighted []float64
		for i, v := range x {
			if f.glm.used[i] {
				weighted = append(weighted, v*math.Sqrt(f.glm.mean[i]))
			}
		}
		return weighted
	})
}

// Coefficients lists the coefficients in the design's order, on the scale of
// the natural log; those without a finite limit are not OK.
func (f *CountFit) Coefficients() ([]Coefficient, error) {
	return f.Design.coefficients(func(w []float64, c *Coefficient) error {
		c.Estimate = f.Linear(w)
		return nil
	})
}

// pivot is the coefficient that gives way to a linear function of all of them:
// the one with the largest weight.
func pivot(w []float64) int {
	pivot := 0
	for j := range w {
		if math.Abs(w[j]) > math.Abs(w[pivot]) {
			pivot = j
		}
	}
	return pivot
}

// turned are the design's columns less the pivot's, where wᵀβ takes the place of
// the pivot's coefficient, and the column of wᵀβ itself.
func (d *Design) turned(w []float64) (columns [][]float64, last []float64) {
	p := pivot(w)
	last = make([]float64, d.N)
	for i, x := range d.Columns[p].Values {
		last[i] = x / w[p]
	}
	for j, column := range d.Columns {
		if j == p {
			continue
		}
		v := column.Values
		if w[j] != 0 {
			v = make([]float64, d.N)
			for i, x := range d.Columns[p].Values {
				v[i] = column.Values[i] - x*w[j]/w[p]
			}
		}
		columns = append(columns, v)
	}
	return columns, last
}

// crossing finds where f, which rises, is zero, from the guess and with steps
// of the given width until it is bracketed; to 1e-9 of that width.
func crossing(f func(float64) (float64, error), guess, width float64) (float64, error) {
	var failed error
	value := func(x float64) float64 {
		v, err := f(x)
		if err != nil && failed == nil {
			failed = err
		}
		return v
	}
	lo, hi, tolerance := guess, guess, 1e-9*width
	flo := value(lo)
	fhi := flo
	for k := 0; (flo > 0 || fhi < 0) && failed == nil; k++ {
		if k == 60 {
			return 0, errNoConvergence
		}
		if flo > 0 {
			hi, fhi = lo, flo
			lo -= width
			flo = value(lo)
		} else {
			lo, flo = hi, fhi
			hi += width
			fhi = value(hi)
		}
		width *= 1.5
	}
	if failed != nil {
		return 0, failed
	}
	x := dist.Root(value, lo, flo, hi, fhi, tolerance)
	return x, failed
}
