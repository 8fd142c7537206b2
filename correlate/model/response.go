package model

import (
	"errors"
	"math"
	"slices"
)

// Response is what a model explains, a value a row: Quantities, Counts or
// Answers. Each kind is fitted in its own way and has its own way of adding up
// over whole units.
type Response interface {
	// fit fits the response over a design's rows.
	fit(d *Design) (Model, error)

	// over is the response of whole units, each a union of the design's bins.
	over(d *Design, units Factor) (Response, error)
}

// Model is a fitted model as the analysis sees it, whatever it explains.
type Model interface {
	// Linear estimates the linear function wᵀβ of the coefficients.
	Linear(w []float64) Estimate

	// Partial tests every effect but the intercept, in the design's order, beside
	// all effects that do not contain it.
	Partial() ([]Test, error)

	// Coefficients lists the coefficients in the design's order.
	Coefficients() ([]Coefficient, error)

	// pairs tests the differences wᵀβ among as many means as are compared with one
	// another, and leaves those out that have no test.
	pairs(family Family, list []Difference, means int) ([]Pair, error)
}

// Permutable is a model whose residuals and labels can be dealt anew.
type Permutable interface {
	Model

	// remains are the residuals and the model's orthonormal columns; nil where the
	// fit is exact.
	remains() (e []float64, q [][]float64)

	redealing(dealt []int) *redealing
}

// Quantities are fitted by least squares. Those of whole units are the bins'
// adjusted means, averaged over the unit's bins, weight one each.
type Quantities []float64

func (y Quantities) fit(d *Design) (Model, error) {
	f, err := d.Fit(y)
	if err != nil {
		return nil, err
	}
	return f, nil
}

// over needs no row to spare, unless covariates or light adjust the means.
func (y Quantities) over(d *Design, units Factor) (Response, error) {
	f, err := d.fit(y)
	if err != nil {
		return nil, err
	}
	means, bins := make(Quantities, len(units.Levels)), make([]float64, len(units.Levels))
	for b, row := range firstRows(d.Factors[d.bin]) {
		u := units.Of[row]
		means[u] += f.Linear(d.Weights(At{d.bin, b})).Value
		bins[u]++
	}
	for u := range means {
		means[u] /= bins[u]
	}
	numbers := d.numbers()
	if len(numbers) == 0 {
		return means, nil
	}
	s := slopes{df: float64(f.DF)}
	bare := d.without(numbers)
	for _, j := range numbers {
		v, err := bare.fit(d.Columns[j].Values)
		if err != nil {
			return nil, err
		}
		at := make([]float64, len(means))
		for b, row := range firstRows(d.Factors[d.bin]) {
			at[units.Of[row]] += (v.Linear(bare.Weights(At{d.bin, b})).Value - d.means[j]) / bins[units.Of[row]]
		}
		s.at = append(s.at, at)
	}
	s.covary(d, numbers, f.MeanSquare(), f.basis.solveT)
	return adjustedMeans{means, &s}, nil
}

// adjustedMeans are means of whole units that slopes adjusted.
type adjustedMeans struct {
	Quantities
	slopes *slopes
}

func (y adjustedMeans) fit(d *Design) (Model, error) {
	if y.slopes.df < 1 {
		return nil, errNoSlopeError
	}
	f, err := d.Fit(y.Quantities)
	if err != nil {
		return nil, err
	}
	f.carrier = y.slopes.carrier(f.basis.q, func(x []float64) []float64 { return x })
	return f, nil
}

// numbers lists the columns of covariates and light.
func (d *Design) numbers() []int {
	var list []int
	for _, e := range d.Effects {
		if e.Kind == KindCovariate || e.Kind == KindLight {
			list = append(list, e.First)
		}
	}
	return list
}

// without is the design without the given columns, each an effect of its own.
func (d *Design) without(columns []int) *Design {
	rest := *d
	rest.Effects, rest.Columns, rest.means = nil, nil, nil
	for _, e := range d.Effects {
		if slices.Contains(columns, e.First) {
			continue
		}
		own := d.Columns[e.First:e.End]
		e.First = len(rest.Columns)
		rest.Columns = append(rest.Columns, own...)
		e.End = len(rest.Columns)
		rest.Effects = append(rest.Effects, e)
	}
	for _, c := range rest.Columns {
		rest.means = append(rest.means, mean(c.Values))
	}
	return &rest
}

// covary fills in the covariance of the slopes of the given columns, where the
// solution of Rᵀg = w and the residual variance are known.
func (s *slopes) covary(d *Design, columns []int, variance float64, solveT func(w []float64) []float64) {
	g := make([][]float64, len(columns))
	for i, j := range columns {
		w := make([]float64, len(d.Columns))
		w[j] = 1
		g[i] = solveT(w)
	}
	s.cov = make([][]float64, len(columns))
	for i := range g {
		s.cov[i] = make([]float64, len(columns))
		for j := range g {
			s.cov[i][j] = variance * dot(g[i], g[j])
		}
	}
}

// Counts are fitted by quasi-likelihood. Those of whole units are totals, with
// the plants that were counted (or their exposure) as exposure, so that the
// dispersion is that between units: by what few of these differ it may come out near
// none by chance, while units differ at least by what their plants do, and these by
// chance. It is never taken to be less than that of the plants, nor than 1.
//
// Where covariates or light are in the model of the plants, a unit's exposure is what
// it would be at their mean:
//
//	Σ e exp(b̂ᵀ(z − z̄))
type Counts struct {
	Y        []float64
	Exposure []float64 // nil: every row counts alike
}

func (y Counts) fit(d *Design) (Model, error) {
	f, err := d.Count(y.Y, y.Exposure)
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (y Counts) over(d *Design, units Factor) (Response, error) {
	f, err := d.Count(y.Y, y.Exposure)
	if err != nil && !errors.Is(err, ErrTooFew) {
		return nil, err
	}
	least := 1.0
	if f != nil {
		least = max(least, f.Dispersion)
	}
	numbers := d.numbers()
	switch {
	case len(numbers) == 0:
		counts, exposures := Totals(units, y.Y, y.Exposure)
		return unitCounts{Counts: Counts{counts, exposures}, least: least}, nil
	case f == nil:
		return unitCounts{slopes: &slopes{}}, nil
	}
	weights := make([]float64, d.N)
	for i := range weights {
		eta := f.offset[i]
		for _, j := range numbers {
			eta += f.glm.beta[j] * (d.Columns[j].Values[i] - d.means[j])
		}
		weights[i] = math.Exp(eta)
	}
	counts, exposures := Totals(units, y.Y, weights)
	s := slopes{df: float64(f.DF)}
	for _, j := range numbers {
		at := make([]float64, len(counts))
		for i, u := range units.Of {
			at[u] += weights[i] / exposures[u] * (d.Columns[j].Values[i] - d.means[j])
		}
		s.at = append(s.at, at)
	}
	s.covary(d, numbers, f.Dispersion, f.glm.solveT)
	return unitCounts{Counts{counts, exposures}, least, &s}, nil
}

// unitCounts are totals of whole units.
type unitCounts struct {
	Counts
	least  float64 // of the dispersion
	slopes *slopes // that adjusted their exposure; nil where none did
}

func (y unitCounts) fit(d *Design) (Model, error) {
	if y.slopes != nil && y.slopes.df < 1 {
		return nil, errNoSlopeError
	}
	f, err := d.Count(y.Y, y.Exposure)
	if err != nil {
		return nil, err
	}
	if f.Dispersion < y.least {
		f.Dispersion, f.AtLeast, f.Exact = y.least, true, false
	}
	if y.slopes != nil {
		f.carry(y.slopes)
	}
	return f, nil
}

// Answers are 1 or 0 a row, fitted by penalised logistic regression, given each
// bin's number of yes where the design has bins. Those of whole units are shares,
// weight one each, which vary at least by what chance makes of the answers of their
// plants: by what few of them differ it may come out near none.
type Answers struct {
	Y    []float64
	Seed uint64 // of answers that are dealt anew
}

func (y Answers) fit(d *Design) (Model, error) {
	if d.bin >= 0 {
		f, err := d.Conditional(y.Y, y.Seed)
		if err != nil {
			return nil, err
		}
		return f, nil
	}
	f, err := d.Logistic(y.Y)
	if err != nil {
		return nil, err
	}
	return f, nil
}

func (y Answers) over(_ *Design, units Factor) (Response, error) {
	shares, plants := Totals(units, y.Y, nil)
	for u := range shares {
		shares[u] /= plants[u]
	}
	return unitShares{shares, plants}, nil
}

// unitShares are shares of whole units.
type unitShares struct {
	Quantities
	plants []float64
}

// fit takes a share's least variance to be m (1 − m)/n, where m is the fitted share, no
// nearer to 0 or 1 than half a plant.
func (y unitShares) fit(d *Design) (Model, error) {
	f, err := d.Fit(y.Quantities)
	if err != nil {
		return nil, err
	}
	f.least = make([]float64, d.N)
	for i, n := range y.plants {
		m := min(max(y.Quantities[i]-f.Residuals[i], 0.5/n), 1-0.5/n)
		f.least[i] = m * (1 - m) / n
	}
	return f, nil
}

// Totals adds up values and exposures over the levels of a factor; without
// exposure each row has one, so that the total is of plants.
func Totals(f Factor, y, exposure []float64) (totals, exposures []float64) {
	if len(y) != len(f.Of) || exposure != nil && len(exposure) != len(y) {
		panic("model: the values' length differs from the number of rows")
	}
	totals, exposures = make([]float64, len(f.Levels)), make([]float64, len(f.Levels))
	for i, l := range f.Of {
		totals[l] += y[i]
		if exposure == nil {
			exposures[l]++
		} else {
			exposures[l] += exposure[i]
		}
	}
	return totals, exposures
}

// Slope estimates the coefficient of a covariate or of light in a model of the design.
func Slope(m Model, d *Design, t Term) (e Estimate, ok bool) {
	effect, ok := d.Effect(t)
	if !ok {
		return Estimate{}, false
	}
	w := make([]float64, len(d.Columns))
	w[effect.First] = 1
	return m.Linear(w), true
}

// Beside fits the stratum's response with one more covariate beside the others
// and gives its estimate with its variance inflation.
func (s *Stratum) Beside(name string, x []float64) (e Estimate, vif float64, err error) {
	d := *s.Design
	d.Columns = append([]Column(nil), d.Columns...)
	d.Effects = append([]Effect(nil), d.Effects...)
	if err := d.number(name, KindCovariate, x); err != nil {
		return Estimate{}, 0, err
	}
	with, err := s.Response.fit(&d)
	if err != nil {
		return Estimate{}, 0, err
	}
	if e, _ = Slope(with, &d, Term{Kind: KindCovariate, A: name}); math.IsInf(e.Value, 0) {
		return Estimate{}, 0, errors.New("one of its two sides has no event: the ratio has no estimate")
	}
	vif, err = d.Inflation(len(d.Columns) - 1)
	return e, vif, err
}
