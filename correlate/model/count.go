package model

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"parstead/correlate/dist"
)

// Errors of Count that data can cause, beside those of Fit.
var (
	ErrNoEvents = errors.New("not a single event was counted: there is nothing to compare")
	ErrUnlikely = errors.New("the counts vary no more than chance alone makes them: no size can be estimated")
)

var errNoLimit = errors.New("an upper limit is for what falls without one, where a spread is left to measure by")

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
// part in are not estimable.
//
// Wedderburn (1974), Biometrika 61:439–447; McCullagh, Nelder (1989),
// Generalized Linear Models, chapters 6 and 9.
type CountFit struct {
	Design     *Design
	Y          []float64
	Mean       []float64 // fitted
	Deviance   float64
	Dispersion float64 // φ
	DF         int     // n − p

	// Exact tells that the residuals are nothing but rounding: φ is zero and no
	// test or interval can be given.
	Exact bool

	offset []float64
	glm    *loglinear
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
	f.Mean, f.Deviance = f.glm.mean, f.glm.deviance
	var chi2 float64
	for _, r := range f.PearsonResiduals() {
		chi2 += r * r
	}
	if f.Exact = chi2 <= exactLimit*exactLimit*sum; !f.Exact {
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

// Weights are the working weights μ of the rows at the solution.
func (f *CountFit) Weights() []float64 { return f.Mean }

// Partial tests every effect but the intercept: the drop in deviance when the
// effect joins all effects that do not contain it, against φ of the full model.
//
//	F = (ΔD / df) / φ
func (f *CountFit) Partial() ([]Test, error) {
	var tests []Test
	for i, e := range f.Design.Effects {
		if e.Kind == KindIntercept {
			continue
		}
		t := Test{Effect: e.Name, Kind: e.Kind, DF: [2]float64{float64(e.End - e.First), float64(f.DF)}}
		drop, err := f.drop(i, f.columns, f.Deviance)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", e.Name, err)
		}
		if !f.Exact {
			t.F = drop / t.DF[0] / f.Dispersion
			t.P = fUpper(t.F, t.DF[0], t.DF[1])
			t.OK = true
		}
		tests = append(tests, t)
	}
	return tests, nil
}

// drop is the fall of deviance when an effect joins all effects that do not
// contain it; build makes the model of some columns and full is the deviance of
// all of them.
func (f *CountFit) drop(effect int, build func([]int) *loglinear, full float64) (float64, error) {
	e := f.Design.Effects[effect]
	var columns []int
	for i, other := range f.Design.Effects {
		if i != effect && !other.Contains(e) {
			for j := other.First; j < other.End; j++ {
				columns = append(columns, j)
			}
		}
	}
	without := build(columns)
	if err := without.fit(nil); err != nil {
		return 0, err
	}
	for j := e.First; j < e.End; j++ {
		columns = append(columns, j)
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
	return Estimate{Value: value, SE: se * math.Sqrt(f.Dispersion), DF: float64(f.DF)}
}

// Coefficients lists the coefficients in the design's order, on the scale of
// the natural log; those without a finite limit are not OK.
func (f *CountFit) Coefficients() []Coefficient {
	return coefficients(f.Design, f.Linear)
}

func coefficients(d *Design, linear func([]float64) Estimate) []Coefficient {
	list := make([]Coefficient, len(d.Columns))
	w := make([]float64, len(d.Columns))
	for j, c := range d.Columns {
		clear(w)
		w[j] = 1
		list[j] = Coefficient{Of: c.Of, Level: c.Level, Against: c.Against, Estimate: linear(w)}
	}
	return list
}

// UpperLimit bounds wᵀβ from above where Linear gives −Inf: the largest value c
// that a one-sided test at 5 % by the profile of the deviance does not reject.
//
//	{min D given wᵀβ = c − min D} / φ = t²₀.₉₅(n − p)
//
// To bound a ratio whose denominator has no events from below, turn w round.
// Errors: wᵀβ does not fall without limit, or no spread is left; no convergence.
func (f *CountFit) UpperLimit(w []float64) (float64, error) {
	if len(w) != len(f.Design.Columns) {
		panic("model: a linear function's length differs from the number of columns")
	}
	if f.Exact || !math.IsInf(f.Linear(w).Value, -1) {
		return 0, errNoLimit
	}
	t := tQuantile(0.1, float64(f.DF))
	goal := t * t * f.Dispersion
	rise := func(c float64) (float64, error) {
		m := f.constrained(w, c)
		if err := m.fit(nil); err != nil {
			return 0, err
		}
		return m.deviance - f.Deviance - goal, nil
	}
	return crossing(rise, 0, 1)
}

// constrained is the model in which wᵀβ = c: the coefficient of the column j
// with the largest |wⱼ| is replaced by (c − Σ wₖ βₖ)/wⱼ.
func (f *CountFit) constrained(w []float64, c float64) *loglinear {
	pivot := 0
	for j := range w {
		if math.Abs(w[j]) > math.Abs(w[pivot]) {
			pivot = j
		}
	}
	x := f.Design.Columns[pivot].Values
	m := &loglinear{y: f.Y, offset: make([]float64, len(f.Y)), size: math.Inf(1)}
	for i := range m.offset {
		m.offset[i] = f.offset[i] + x[i]*c/w[pivot]
	}
	for j, column := range f.Design.Columns {
		if j == pivot {
			continue
		}
		v := column.Values
		if w[j] != 0 {
			v = make([]float64, len(v))
			for i := range v {
				v[i] = column.Values[i] - x[i]*w[j]/w[pivot]
			}
		}
		m.columns = append(m.columns, v)
	}
	return m
}

// BinTotals adds up counts and exposures over the levels of bin; without
// exposure each row has one, so that the total is of plants.
func BinTotals(bin Factor, y, exposure []float64) (counts, exposures []float64) {
	if len(y) != len(bin.Of) || exposure != nil && len(exposure) != len(y) {
		panic("model: the counts' length differs from the number of rows")
	}
	counts, exposures = make([]float64, len(bin.Levels)), make([]float64, len(bin.Levels))
	for i, b := range bin.Of {
		counts[b] += y[i]
		if exposure == nil {
			exposures[b]++
		} else {
			exposures[b] += exposure[i]
		}
	}
	return counts, exposures
}

// ChiTest is the χ² test of one effect.
type ChiTest struct {
	Effect string
	Kind   Kind
	Chi2   float64
	DF     float64
	P      float64
}

func newChiTest(e Effect, chi2 float64) ChiTest {
	t := ChiTest{Effect: e.Name, Kind: e.Kind, Chi2: math.Max(0, chi2), DF: float64(e.End - e.First)}
	t.P = chiUpper(t.Chi2, t.DF)
	return t
}

// chiUpper is P(χ² ≥ x) on df degrees of freedom.
//
//	Q(df/2, x/2), the upper regularised incomplete gamma function
func chiUpper(x, df float64) float64 { return mathext.GammaIncRegComp(df/2, x/2) }

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
