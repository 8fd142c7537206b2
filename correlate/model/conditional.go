package model

import (
	"fmt"
	"math"
	"slices"
)

// leastInformative is how many informative events a slope within bins needs.
const leastInformative = 3

// ConditionalFit is a fit of yes/no answers given each bin's number of them, by the
// conditional likelihood of all bins with Firth's penalty: what bins differ by
// takes no parameter and needs no distribution. A single column is tested by all
// deals of the answers within bins (see DealAnswers), which needs no likelihood;
// where its p and its interval disagree, p decides.
//
// The penalised conditional likelihood is that of Heinze, Puhr (2010), Statistics
// in Medicine 29:770–777; the likelihood that of Breslow, Day, Halvorsen, Prentice,
// Sabai (1978), American Journal of Epidemiology 108:299–307.
type ConditionalFit struct {
	Design        *Design
	Y             []float64
	Beta          []float64 // of all columns but the intercept and the bins; nil where there is no estimate
	LogLikelihood float64   // l*, penalised

	// Informative counts the rarer answers of the bins where both occur: the others
	// tell nothing.
	Informative int
	Deals       *AnswerDeals // where there is a single column

	own  *Design // without intercept and bins
	at   []int   // its columns, into Design.Columns
	hill *binwise
}

// Conditional fits the answers y, 1 or 0 a row, within the design's bins. With a
// single column and fewer than three informative events there is a test and no
// estimate; without a column there is nothing.
//
// Errors: a *CollinearError; ErrRare; an answer that is neither 1 nor 0. It panics
// without bins.
func (d *Design) Conditional(y []float64, seed uint64) (*ConditionalFit, error) {
	if len(y) != d.N || d.bin < 0 {
		panic("model: a conditional fit needs bins, and an outcome for each row")
	}
	f := &ConditionalFit{Design: d, Y: y}
	f.own, f.at = d.withinBins()
	if err := enough(y, len(f.at)); err != nil {
		return nil, err
	}
	if _, err := d.basis(nil); err != nil || len(f.at) == 0 {
		return f, err
	}
	f.hill = f.over(f.own.values(allColumns(f.own)))
	f.Informative = f.hill.informative()
	if len(f.at) == 1 {
		deals := DealAnswers(d.Factors[d.bin], f.own.Columns[0].Values, y, seed)
		f.Deals = &deals
	}
	if f.Informative < leastInformative {
		f.hill = nil
		if f.Deals != nil {
			return f, nil
		}
		return nil, fmt.Errorf("%w: %d in bins where both answers occur, and %d are needed", ErrRare, f.Informative, leastInformative)
	}
	if err := f.apart(); err != nil {
		return nil, err
	}
	beta, err := climb(f.hill, make([]float64, len(f.at)), len(f.at), firthLimit)
	if err != nil {
		return nil, err
	}
	f.Beta, f.LogLikelihood = beta, f.hill.height()
	return f, nil
}

// withinBins is the design without intercept and bins, and where its columns stood.
func (d *Design) withinBins() (own *Design, at []int) {
	own = &Design{N: d.N, Factors: d.Factors, treatments: d.treatments, units: d.units, bin: d.bin, nested: d.nested}
	for _, e := range d.Effects {
		if e.Kind == KindIntercept || e.Kind == KindBin {
			continue
		}
		for j := e.First; j < e.End; j++ {
			at = append(at, j)
		}
		own.add(e, d.Columns[e.First:e.End]...)
	}
	return own, at
}

// ConditionalWork is that of one evaluation of the conditional likelihood, in
// numbers gone through: over bins, plants times rarer answers, times columns
// squared.
func (d *Design) ConditionalWork(y []float64) float64 {
	own, _ := d.withinBins()
	yes, plants := Totals(d.Factors[d.bin], y, nil)
	cells := 0.0
	for b, n := range plants {
		cells += n * min(yes[b], n-yes[b])
	}
	return cells * float64(4+len(own.Columns)*len(own.Columns))
}

func (f *ConditionalFit) over(columns [][]float64) *binwise {
	return newBinwise(columns, f.Design.Factors[f.Design.bin], f.Y)
}

// apart demands columns that can be told apart in the bins where both answers occur.
func (f *ConditionalFit) apart() error {
	columns := make([][]float64, len(f.at))
	for _, b := range f.hill.bins {
		for _, x := range b.x {
			for j, v := range x {
				columns[j] = append(columns[j], v)
			}
		}
	}
	_, err := newBasis(columns, false)
	if c, ok := err.(*collinear); ok { //nolint:errorlint // newBasis wraps nothing
		named := &CollinearError{Column: f.own.Columns[c.j], Mixed: true}
		for _, k := range c.of {
			named.Of = append(named.Of, f.own.Columns[k])
		}
		return named
	}
	return err
}

// inOwn takes a linear function of the design's coefficients to one of those that
// there are; ok is false where it needs the others, which have no estimate.
func (f *ConditionalFit) inOwn(w []float64) (own []float64, ok bool) {
	if f.Beta == nil {
		return nil, false
	}
	own = make([]float64, len(f.at))
	for k, j := range f.at {
		own[k] = w[j]
	}
	for j, v := range w {
		if v != 0 && !slices.Contains(f.at, j) {
			return nil, false
		}
	}
	return own, true
}

var noEstimate = Estimate{Value: math.NaN(), SE: math.NaN(), DF: math.Inf(1)}

// Linear estimates wᵀβ of log odds within a bin, with its standard error from the
// inverse information; NaN where it is not of within bins.
func (f *ConditionalFit) Linear(w []float64) Estimate {
	own, ok := f.inOwn(w)
	if !ok {
		return noEstimate
	}
	_, variance := f.hill.spread(own)
	return Estimate{Value: dot(own, f.Beta), SE: math.Sqrt(variance), DF: math.Inf(1)}
}

// Profile tests wᵀβ = 0 and gives its interval by the penalised likelihood; P is
// that of all deals where there is a single column, NaN where these are too few.
func (f *ConditionalFit) Profile(w []float64, level float64) (Profile, error) {
	own, ok := f.inOwn(w)
	p := Profile{Estimate: noEstimate, Chi2: math.NaN(), P: math.NaN(), Limits: [2]float64{math.NaN(), math.NaN()}}
	if ok {
		var err error
		if p, err = profiled(f.Linear(w), f.own.turn(f.Beta, f.hill, own), level, func(columns [][]float64) hill { return f.over(columns) }); err != nil {
			return p, err
		}
	}
	if f.Deals != nil {
		if p.P = math.NaN(); f.Deals.OK {
			p.P = f.Deals.P
		}
	}
	return p, nil
}

// Coefficients lists the coefficients but those of intercept and bins, which the
// bins' totals stand for.
func (f *ConditionalFit) Coefficients() ([]Coefficient, error) {
	list := make([]Coefficient, len(f.at))
	w := make([]float64, len(f.Design.Columns))
	for k, j := range f.at {
		clear(w)
		w[j] = 1
		p, err := f.Profile(w, 0.95)
		if err != nil {
			return nil, err
		}
		c := f.Design.Columns[j]
		list[k] = Coefficient{Term: c.Term, Level: c.Level, Against: c.Against, Estimate: p.Estimate, Profile: &p}
	}
	return list, nil
}

// Partial tests every effect but the bins by the fall of the penalised likelihood,
// a single column by all deals.
func (f *ConditionalFit) Partial() ([]Test, error) {
	switch {
	case len(f.at) == 0:
		return nil, nil
	case f.Deals != nil:
		return []Test{{Term: f.own.Effects[0].Term, Statistic: Dealt, P: f.Deals.P, OK: f.Deals.OK}}, nil
	}
	return f.own.falls(f.LogLikelihood, func(list []int) hill { return f.over(f.own.values(list)) })
}

func (f *ConditionalFit) pairs(family Family, list []Difference, _ int) ([]Pair, error) {
	return profiledPairs(f.Profile, f.telling, f.Y, family, list)
}

// telling lists the rows of a cell that stand in bins where both answers occur.
func (f *ConditionalFit) telling(cell []At) []int {
	bins := f.Design.Factors[f.Design.bin]
	yes, plants := Totals(bins, f.Y, nil)
	return slices.DeleteFunc(f.Design.Rows(cell), func(r int) bool {
		b := bins.Of[r]
		return yes[b] == 0 || yes[b] == plants[b]
	})
}
