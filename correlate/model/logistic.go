package model

import (
	"errors"
	"fmt"
	"math"
)

// ErrRare is why a model of yes/no answers is not fitted: too few of the rarer
// answer for its parameters.
var ErrRare = errors.New("the rarer answer came too seldom for a model")

// answersPerParameter is how often the rarer answer must come for each
// parameter beside the intercept.
const answersPerParameter = 4

// LogisticFit is a fit of yes/no answers by logistic regression with Firth's
// penalty, which keeps every estimate finite under separation and takes away
// the bias of few answers.
//
//	ln π/(1 − π) = Xβ
//	l*(β) = Σ {y ln π + (1 − y) ln(1 − π)} + ½ ln |Xᵀ W X|,  W = diag π(1 − π)
//
// Tests and intervals come from the penalised likelihood itself, since β̂ is far
// from normal where answers are few.
//
// Firth (1993), Biometrika 80:27–38; Heinze, Schemper (2002), Statistics in
// Medicine 21:2409–2419.
type LogisticFit struct {
	Design        *Design
	Y             []float64
	Beta          []float64
	Probability   []float64 // fitted
	LogLikelihood float64   // l*, penalised
	firth         *firth
}

// Logistic fits the answers y, 1 or 0 a row.
//
// Errors: a *CollinearError; ErrRare; an answer that is neither 1 nor 0.
func (d *Design) Logistic(y []float64) (*LogisticFit, error) {
	if len(y) != d.N {
		panic("model: the outcome's length differs from the number of rows")
	}
	if err := answers(y); err != nil {
		return nil, err
	}
	yes := 0
	for _, v := range y {
		yes += int(v)
	}
	parameters := len(d.Columns)
	if parameters > 0 && d.Columns[0].Kind == KindIntercept {
		parameters--
	}
	if rarer := min(yes, d.N-yes); rarer < max(1, answersPerParameter*parameters) {
		return nil, fmt.Errorf("%w: %d of %d, and %d parameters need %d", ErrRare, rarer, d.N, parameters, answersPerParameter*parameters)
	}
	if _, err := d.basis(nil); err != nil {
		return nil, err
	}
	f := &LogisticFit{Design: d, Y: y}
	f.firth = f.model(allColumns(d))
	if err := f.firth.fit(make([]float64, len(d.Columns)), len(d.Columns), firthLimit); err != nil {
		return nil, err
	}
	f.Beta, f.Probability, f.LogLikelihood = f.firth.beta, f.firth.probability, f.firth.likelihood
	return f, nil
}

// model is that of the given columns, in the given order.
func (f *LogisticFit) model(list []int) *firth {
	m := &firth{y: f.Y}
	for _, j := range list {
		m.columns = append(m.columns, f.Design.Columns[j].Values)
	}
	return m
}

// Partial tests every effect but the intercept by twice the fall of the
// penalised likelihood when its coefficients are held at zero, in the model of
// it and all effects that do not contain it.
func (f *LogisticFit) Partial() ([]Test, error) {
	return f.Design.each(func(effect int) (Test, error) {
		list, free := f.Design.around(effect) // the columns held at zero come last
		full := f.LogLikelihood
		if len(list) < len(f.Design.Columns) {
			with := f.model(list)
			if err := with.fit(make([]float64, len(list)), len(list), firthLimit); err != nil {
				return Test{}, err
			}
			full = with.likelihood
		}
		without := f.model(list)
		if err := without.fit(make([]float64, len(list)), free, firthLimit); err != nil {
			return Test{}, err
		}
		return chiTest(f.Design.Effects[effect], 2*(full-without.likelihood)), nil
	})
}

// Linear estimates the linear function wᵀβ of log odds with its standard error
// from the inverse information. Its own test and interval rest on a normal
// distribution: Profile's are the ones to show.
func (f *LogisticFit) Linear(w []float64) Estimate {
	return Estimate{Value: dot(w, f.Beta), SE: norm(f.firth.basis.solveT(w)), DF: math.Inf(1)}
}

var errFirth = errors.New("the penalised fit did not settle: leave out a covariate or a level")

// firth maximises l* over the leading coefficients, the others held.
type firth struct {
	columns [][]float64
	y       []float64

	// The fit.
	beta        []float64
	probability []float64
	likelihood  float64
	residual    []float64 // y − π, without cancellation
	root        []float64 // √W
	basis       *basis    // of √W X
	hat         []float64
}

const (
	firthSteps = 500
	firthLimit = 1e-11
	maxStep    = 5.0 // in any row's log odds
)

// fit starts at β, whose coefficients from free on are held there, and ends when
// a step is below the limit in standard errors.
//
// Steps solve Iδ = U* with the modified score U* = Xᵀ{y − π + h(½ − π)}, where h
// are the hat values of √W X, and are halved until l* rises.
func (m *firth) fit(beta []float64, free int, limit float64) error {
	m.beta = beta
	n := len(m.y)
	m.probability, m.residual, m.root = make([]float64, n), make([]float64, n), make([]float64, n)
	if err := m.evaluate(); err != nil {
		return err
	}
	if free == 0 {
		return nil
	}
	v := make([]float64, n)
	z := make([]float64, free)
	for range firthSteps {
		for i := range v {
			v[i] = (m.residual[i] + m.hat[i]*(0.5-m.probability[i])) / m.root[i]
		}
		for k := range z {
			z[k] = dot(m.basis.q[k], v)
		}
		if norm(z) <= limit {
			return nil
		}
		step := m.basis.solve(z)
		m.shorten(step)
		old := firth{beta: m.beta, likelihood: m.likelihood}
		for halving := 0; ; halving++ {
			next := append([]float64(nil), old.beta...)
			for j, s := range step {
				next[j] += s
			}
			m.beta = next
			err := m.evaluate()
			if err == nil && m.likelihood >= old.likelihood-1e-12*(1+math.Abs(old.likelihood)) {
				break
			}
			if halving == 40 {
				return errFirth
			}
			for j := range step {
				step[j] /= 2
			}
		}
	}
	return errFirth
}

// shorten keeps a step from moving any row's log odds too far.
func (m *firth) shorten(step []float64) {
	var most float64
	for i := range m.y {
		var eta float64
		for j, s := range step {
			eta += m.columns[j][i] * s
		}
		most = max(most, math.Abs(eta))
	}
	if most > maxStep {
		for j := range step {
			step[j] *= maxStep / most
		}
	}
}

// evaluate sets probabilities, hat values and l* at β.
func (m *firth) evaluate() error {
	var likelihood, lost float64 // what rounding lost, since with many alike rows it is all to one side: Kahan (1965), Comm. ACM 8:40
	for i, y := range m.y {
		var eta float64
		for j, b := range m.beta {
			eta += m.columns[j][i] * b
		}
		// ln π and ln(1 − π) without cancellation.
		yes, no := -softplus(-eta), -softplus(eta)
		m.probability[i] = math.Exp(yes)
		m.root[i] = math.Exp((yes + no) / 2)
		term := no
		if y == 1 {
			m.residual[i], term = math.Exp(no), yes
		} else {
			m.residual[i] = -math.Exp(yes)
		}
		term -= lost
		sum := likelihood + term
		lost = (sum - likelihood) - term
		likelihood = sum
	}
	m.likelihood = likelihood
	columns := make([][]float64, len(m.columns))
	for j, x := range m.columns {
		columns[j] = make([]float64, len(x))
		for i, v := range x {
			columns[j][i] = v * m.root[i]
		}
	}
	b, err := newBasis(columns, false)
	if err != nil {
		return errFirth
	}
	m.basis, m.hat = b, b.hat()
	for j := range b.r {
		m.likelihood += math.Log(b.r[j][j]) // ½ ln |XᵀWX|
	}
	if math.IsNaN(m.likelihood) || math.IsInf(m.likelihood, 0) {
		return errFirth
	}
	return nil
}

// softplus is ln(1 + eˣ).
func softplus(x float64) float64 {
	if x > 0 {
		return x + math.Log1p(math.Exp(-x))
	}
	return math.Log1p(math.Exp(x))
}
