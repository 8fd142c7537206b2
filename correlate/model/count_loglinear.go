package model

import (
	"errors"
	"math"
)

// loglinear is a model of counts y with the mean μ = exp(Xβ + offset) and the
// variance μ + μ²/size; size infinite: μ. It is fitted by iteratively
// reweighted least squares, each step halved until the deviance falls.
//
// Where every row of some set has no event and the mean of these rows can fall
// towards zero without touching the others, the likelihood has its limit there:
// these rows are set aside (mean 0, deviance 0) and what they alone determine
// is not estimable.
//
// McCullagh, Nelder (1989), Generalized Linear Models, chapters 2 and 6.
type loglinear struct {
	columns [][]float64
	y       []float64
	offset  []float64
	size    float64

	// The fit.
	used     []bool      // rows that are not set aside
	kept     []int       // columns that the used rows determine
	null     [][]float64 // directions in β that the used rows do not determine, a column dropped each
	falls    []float64   // direction in which the means of the rows set aside fall; nil if none
	beta     []float64   // 0 for a dropped column
	mean     []float64
	deviance float64
	basis    *basis // of the kept columns, weighted, at the solution
}

var errNoConvergence = errors.New("the fit of the counts did not settle: leave out a covariate or a level")

const (
	// vanishing is the expected count under which rows may be on their way to none.
	vanishing     = 1e-8
	irlsLimit     = 1e-12
	maxIterations = 200
)

// fit runs the model; start holds coefficients to start from, or is nil.
func (m *loglinear) fit(start []float64) error {
	n := len(m.y)
	if m.used == nil {
		m.used = make([]bool, n)
		for i := range m.used {
			m.used[i] = true
		}
	}
	m.mean = make([]float64, n)
	for {
		if err := m.rank(); err != nil {
			return err
		}
		again, err := m.iterate(start)
		if err != nil || !again {
			m.fallsTo()
			return err
		}
	}
}

// rank sorts the columns into kept and dropped over the used rows.
func (m *loglinear) rank() error {
	m.kept, m.null = nil, nil
	all := make([][]float64, len(m.columns))
	for j := range m.columns {
		all[j] = m.rows(m.columns[j])
		m.kept = append(m.kept, j)
	}
	if _, err := newBasis(all, false); err == nil {
		return nil
	}
	m.kept = nil
	var columns [][]float64
	for j, x := range all {
		columns = append(columns, x)
		if _, err := newBasis(columns, false); err == nil {
			m.kept = append(m.kept, j)
			continue
		}
		columns = columns[:len(columns)-1]
		null := make([]float64, len(m.columns))
		null[j] = 1
		if len(columns) > 0 {
			b, err := newBasis(columns, false)
			if err != nil {
				return err
			}
			z := make([]float64, len(b.q))
			project(x, b.q, z)
			for k, c := range b.solve(z) {
				null[m.kept[k]] = -c
			}
		}
		m.null = append(m.null, null)
	}
	return nil
}

// rows is x without the rows set aside.
func (m *loglinear) rows(x []float64) []float64 {
	var r []float64
	for i, v := range x {
		if m.used[i] {
			r = append(r, v)
		}
	}
	return r
}

// iterate finds β over the used rows. again tells that it set rows aside
// instead, after which it must be called once more.
func (m *loglinear) iterate(start []float64) (again bool, err error) {
	if len(m.kept) == 0 {
		m.beta = make([]float64, len(m.columns))
		m.deviance = m.means(m.beta)
		return false, nil
	}
	var beta []float64
	if start != nil {
		beta = start
		m.deviance = m.means(beta)
	} else {
		for i, y := range m.y {
			m.mean[i] = y + 0.1
		}
		m.deviance = math.Inf(1)
	}
	for range maxIterations {
		next, err := m.step()
		if err != nil {
			return false, err
		}
		deviance := m.means(next)
		for halving := 0; !(deviance <= m.deviance*(1+1e-10)+1e-10) || math.IsInf(deviance, 0); halving++ {
			if halving == 60 {
				return false, errNoConvergence
			}
			for j := range next {
				if beta == nil {
					next[j] /= 2
				} else {
					next[j] = (next[j] + beta[j]) / 2
				}
			}
			deviance = m.means(next)
		}
		settled := math.Abs(m.deviance-deviance) <= irlsLimit*(math.Abs(deviance)+0.1)
		beta, m.beta, m.deviance = next, next, deviance
		if m.setAside() {
			return true, nil
		}
		if settled {
			_, err := m.step() // the basis at the solution
			return false, err
		}
	}
	return false, errNoConvergence
}

// step solves the weighted least-squares problem at the present means.
func (m *loglinear) step() ([]float64, error) {
	var work, root []float64
	for i, used := range m.used {
		if used {
			mu := m.mean[i]
			root = append(root, math.Sqrt(mu/(1+mu/m.size)))
			work = append(work, math.Log(mu)-m.offset[i]+(m.y[i]-mu)/mu)
		}
	}
	columns := make([][]float64, len(m.kept))
	for k, j := range m.kept {
		columns[k] = m.rows(m.columns[j])
		for i := range columns[k] {
			columns[k][i] *= root[i]
		}
	}
	for i := range work {
		work[i] *= root[i]
	}
	b, err := newBasis(columns, false)
	if err != nil {
		return nil, errNoConvergence
	}
	m.basis = b
	z := make([]float64, len(b.q))
	project(work, b.q, z)
	beta := make([]float64, len(m.columns))
	for k, v := range b.solve(z) {
		beta[m.kept[k]] = v
	}
	return beta, nil
}

// means sets the means at β and gives the deviance.
//
//	D = 2 Σ {y ln(y/μ) − (y + size) ln((y + size)/(μ + size))}
//	D = 2 Σ {y ln(y/μ) − (y − μ)},  size infinite
func (m *loglinear) means(beta []float64) float64 {
	var d float64
	for i, y := range m.y {
		if !m.used[i] {
			m.mean[i] = 0
			continue
		}
		eta := m.offset[i]
		for _, j := range m.kept {
			eta += m.columns[j][i] * beta[j]
		}
		mu := math.Exp(eta)
		if !(mu > 0 && mu < 1e200) {
			return math.Inf(1)
		}
		m.mean[i] = mu
		if y > 0 {
			d += 2 * y * (math.Log(y) - math.Log(mu))
		}
		if math.IsInf(m.size, 1) {
			d -= 2 * (y - mu)
		} else {
			d -= 2 * (y + m.size) * (math.Log1p(y/m.size) - math.Log1p(mu/m.size))
		}
	}
	return math.Max(0, d)
}

// setAside drops the rows whose means are on their way to zero, if what is left
// determines fewer coefficients.
func (m *loglinear) setAside() bool {
	rest := make([]bool, len(m.used))
	fewer := false
	for i, used := range m.used {
		rest[i] = used && (m.y[i] > 0 || m.mean[i] >= vanishing)
		fewer = fewer || used != rest[i]
	}
	if !fewer {
		return false
	}
	smaller := loglinear{columns: m.columns, used: rest}
	if err := smaller.rank(); err != nil || len(smaller.kept) == len(m.kept) {
		return false
	}
	m.used = rest
	return true
}

// fallsTo finds the direction of β, among those not determined, that lowers
// the rows set aside alike.
func (m *loglinear) fallsTo() {
	if len(m.null) == 0 {
		return
	}
	var target []float64
	columns := make([][]float64, len(m.null))
	for i, used := range m.used {
		if used {
			continue
		}
		target = append(target, -1)
		for k, null := range m.null {
			var v float64
			for j, c := range null {
				v += c * m.columns[j][i]
			}
			columns[k] = append(columns[k], v)
		}
	}
	m.falls = make([]float64, len(m.columns))
	if len(target) == 0 {
		return
	}
	b, err := newBasis(columns, false)
	if err != nil {
		return
	}
	z := make([]float64, len(b.q))
	project(target, b.q, z)
	for k, c := range b.solve(z) {
		for j, v := range m.null[k] {
			m.falls[j] += c * v
		}
	}
}

// linear estimates wᵀβ, with its standard error in units of √φ; without a limit
// that is finite it is ±Inf with standard error 0.
func (m *loglinear) linear(w []float64) (value, se float64) {
	size := norm(w)
	for _, null := range m.null {
		if math.Abs(dot(w, null)) > 1e-8*size*norm(null) {
			if m.falls == nil || dot(w, m.falls) <= 0 {
				return math.Inf(-1), 0
			}
			return math.Inf(1), 0
		}
	}
	return dot(w, m.beta), norm(m.solveT(w))
}

// solveT gives g with Rᵀ g = w over the columns that are kept.
func (m *loglinear) solveT(w []float64) []float64 {
	kept := make([]float64, len(m.kept))
	for k, j := range m.kept {
		kept[k] = w[j]
	}
	return m.basis.solveT(kept)
}
