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
	parameters := len(d.Columns)
	if parameters > 0 && d.Columns[0].Kind == KindIntercept {
		parameters--
	}
	if err := enough(y, parameters); err != nil {
		return nil, err
	}
	if _, err := d.basis(nil); err != nil {
		return nil, err
	}
	f := &LogisticFit{Design: d, Y: y, firth: newFirth(d.values(allColumns(d)), y)}
	beta, err := climb(f.firth, make([]float64, len(d.Columns)), len(d.Columns), firthLimit)
	if err != nil {
		return nil, err
	}
	f.Beta, f.Probability, f.LogLikelihood = beta, f.firth.probability, f.firth.likelihood
	return f, nil
}

// enough demands answers of which the rarer comes often enough for a model.
func enough(y []float64, parameters int) error {
	if err := answers(y); err != nil {
		return err
	}
	yes := 0
	for _, v := range y {
		yes += int(v)
	}
	if rarer := min(yes, len(y)-yes); rarer < max(1, answersPerParameter*parameters) {
		return fmt.Errorf("%w: %d of %d, and %d parameters need %d", ErrRare, rarer, len(y), parameters, answersPerParameter*parameters)
	}
	return nil
}

// values are those of the columns with these indices.
func (d *Design) values(list []int) [][]float64 {
	values := make([][]float64, len(list))
	for k, j := range list {
		values[k] = d.Columns[j].Values
	}
	return values
}

// Partial tests every effect but the intercept by twice the fall of the
// penalised likelihood when its coefficients are held at zero, in the model of
// it and all effects that do not contain it.
func (f *LogisticFit) Partial() ([]Test, error) {
	return f.Design.falls(f.LogLikelihood, func(list []int) hill { return newFirth(f.Design.values(list), f.Y) })
}

// falls tests the effects of a model whose penalised likelihood, over the columns
// with the given indices, is of; top is its height over all of them.
func (d *Design) falls(top float64, of func(list []int) hill) ([]Test, error) {
	return d.each(func(effect int) (Test, error) {
		list, free := d.around(effect) // the columns held at zero come last
		full := top
		if len(list) < len(d.Columns) {
			with := of(list)
			if _, err := climb(with, make([]float64, len(list)), len(list), firthLimit); err != nil {
				return Test{}, err
			}
			full = with.height()
		}
		without := of(list)
		if _, err := climb(without, make([]float64, len(list)), free, firthLimit); err != nil {
			return Test{}, err
		}
		return chiTest(d.Effects[effect], 2*(full-without.height())), nil
	})
}

// Linear estimates the linear function wᵀβ of log odds with its standard error
// from the inverse information. Its own test and interval rest on a normal
// distribution: Profile's are the ones to show.
func (f *LogisticFit) Linear(w []float64) Estimate {
	return Estimate{Value: dot(w, f.Beta), SE: norm(f.firth.basis.solveT(w)), DF: math.Inf(1)}
}

var errFirth = errors.New("the penalised fit did not settle: leave out a covariate or a level")

// firth is l* as something to climb.
type firth struct {
	columns [][]float64
	y       []float64

	// At β.
	probability []float64
	likelihood  float64
	residual    []float64 // y − π, without cancellation
	root        []float64 // √W
	basis       *basis    // of √W X
	hat         []float64
}

func newFirth(columns [][]float64, y []float64) *firth {
	n := len(y)
	return &firth{columns: columns, y: y, probability: make([]float64, n), residual: make([]float64, n), root: make([]float64, n)}
}

func (m *firth) height() float64 { return m.likelihood }

// ascent solves Iδ = U* with the modified score U* = Xᵀ{y − π + h(½ − π)}, where h
// are the hat values of √W X.
func (m *firth) ascent(free int) (step []float64, length float64) {
	v := make([]float64, len(m.y))
	for i := range v {
		v[i] = (m.residual[i] + m.hat[i]*(0.5-m.probability[i])) / m.root[i]
	}
	z := make([]float64, free)
	for k := range z {
		z[k] = dot(m.basis.q[k], v)
	}
	return m.basis.solve(z), norm(z)
}

func (m *firth) swing(step []float64) float64 {
	var most float64
	for i := range m.y {
		var eta float64
		for j, s := range step {
			eta += m.columns[j][i] * s
		}
		most = max(most, math.Abs(eta))
	}
	return most
}

func (m *firth) spread(w []float64) (along []float64, variance float64) {
	g := m.basis.solveT(w)
	return m.basis.solve(g), dot(g, g)
}

// stand sets probabilities, hat values and l* at β.
func (m *firth) stand(beta []float64) error {
	var likelihood, lost float64 // what rounding lost, since with many alike rows it is all to one side: Kahan (1965), Comm. ACM 8:40
	for i, y := range m.y {
		var eta float64
		for j, b := range beta {
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
