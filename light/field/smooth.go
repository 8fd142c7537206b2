package field

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"parstead/light"
)

// Surface is the log of the light at each position of a bin's grid, up to a
// constant that Relative fixes.
type Surface struct {
	Method      string        // "kriging", "plane" or "mean": how the readings were smoothed
	Log         []float64     // by light.Bin.Index
	Covariance  *mat.SymDense // of the errors of Log
	Positions   int           // surveyed ones
	Readings    int
	Noise       float64 // standard deviation of one reading, natural log
	LeaveOneOut float64 // root mean square error of predicting each surveyed position from the others, natural log
	Range       float64 // of the correlation, cm; 0 without kriging
}

// Fewer surveyed positions than these carry no more than a plane, or a mean.
const (
	kriging = 10
	plane   = 6
	least   = 2
)

// ErrShowsNothing is the reason for not fitting a survey; the error says why.
var ErrShowsNothing = errors.New("the survey shows nothing")

// Smooth fits the surface to a survey of one bin. Readings of several meters
// get a gain each. It returns ErrShowsNothing, wrapped with the reason, where a
// survey can't carry a map.
func Smooth(bin light.Bin, walk []Reading) (*Surface, error) {
	g := group(bin, walk)
	if len(g.positions) < least {
		return nil, fmt.Errorf("%w: only %d position of bin %s has a usable reading; survey at least %d", ErrShowsNothing, len(g.positions), bin.Name, plane)
	}
	switch n := len(g.positions); {
	case n >= kriging:
		if s, err := g.krige(); err == nil {
			return s, nil
		}
		fallthrough
	case n >= plane && g.spreads():
		if s, err := g.regress("plane", 2); err == nil {
			return s, nil
		}
		fallthrough
	default:
		return g.regress("mean", 0)
	}
}

// grouped is a survey with repeats of one meter at one position averaged.
type grouped struct {
	bin       light.Bin
	positions []light.Position // distinct
	meters    []string         // in order of appearance; gains are against the first
	sites     []site           // one a mean
	meter     []int
	mean      []float64
	n         []float64
	within    float64 // sum of squares of repeats about their means
	df        float64 // its degrees of freedom
	readings  int
}

func group(bin light.Bin, walk []Reading) *grouped {
	g := &grouped{bin: bin, readings: len(walk)}
	type key struct {
		position light.Position
		meter    string
	}
	values := map[key][]float64{}
	var order []key
	for _, r := range walk {
		k := key{r.Position, r.Meter}
		if values[k] == nil {
			order = append(order, k)
		}
		values[k] = append(values[k], logRatio(r))
		if !slices.Contains(g.positions, r.Position) {
			g.positions = append(g.positions, r.Position)
		}
		if !slices.Contains(g.meters, r.Meter) {
			g.meters = append(g.meters, r.Meter)
		}
	}
	for _, k := range order {
		sum := 0.0
		for _, v := range values[k] {
			sum += v
		}
		n := float64(len(values[k]))
		mean := sum / n
		for _, v := range values[k] {
			g.within += (v - mean) * (v - mean)
		}
		g.df += n - 1
		g.sites = append(g.sites, g.site(k.position))
		g.meter = append(g.meter, slices.Index(g.meters, k.meter))
		g.mean, g.n = append(g.mean, mean), append(g.n, n)
	}
	return g
}

func (g *grouped) site(p light.Position) site {
	return site{float64(p.Column) * g.bin.PitchColumns, float64(p.Row) * g.bin.PitchRows}
}

// spreads tells whether the surveyed positions span rows and columns.
func (g *grouped) spreads() bool {
	rows, columns := map[int]bool{}, map[int]bool{}
	for _, p := range g.positions {
		rows[p.Row], columns[p.Column] = true, true
	}
	return len(rows) > 1 && len(columns) > 1
}

// trend is the matrix of the trend's terms at the sites (a constant, and for
// degree 2 the two coordinates), and the meters' gains against the first.
func (g *grouped) trend(sites []site, meter []int, degree int) *mat.Dense {
	p := 1 + degree + len(g.meters) - 1
	f := mat.NewDense(len(sites), p, nil)
	center := site{g.bin.PitchColumns * float64(g.bin.Columns+1) / 2, g.bin.PitchRows * float64(g.bin.Rows+1) / 2}
	scale := math.Max(center.x, center.y)
	for i, s := range sites {
		f.Set(i, 0, 1)
		if degree == 2 {
			f.Set(i, 1, (s.x-center.x)/scale)
			f.Set(i, 2, (s.y-center.y)/scale)
		}
		if meter != nil && meter[i] > 0 {
			f.Set(i, degree+meter[i], 1)
		}
	}
	return f
}

func (g *grouped) targets() []site {
	var sites []site
	for _, p := range g.bin.Positions() {
		sites = append(sites, g.site(p))
	}
	return sites
}

// krige smooths by kriging, with or without a plane beneath: whichever predicts
// left-out positions better. Range, sill and nugget are by restricted maximum
// likelihood.
func (g *grouped) krige() (*Surface, error) {
	var best *Surface
	var first error
	for _, degree := range []int{0, 2} {
		if degree == 2 && !g.spreads() {
			continue
		}
		s, err := g.krigeOver(degree)
		if err != nil {
			first = err
			continue
		}
		if best == nil || s.LeaveOneOut < best.LeaveOneOut {
			best = s
		}
	}
	if best == nil {
		return nil, first
	}
	return best, nil
}

// The bounds of the search: a range from half a pitch to four times the grid's
// diagonal, a nugget from a thousandth of the sill to a thousand sills.
const lambdaBound = 1e3

func (g *grouped) krigeOver(degree int) (*Surface, error) {
	f := g.trend(g.sites, g.meter, degree)
	pitch := math.Min(g.bin.PitchRows, g.bin.PitchColumns)
	diagonal := math.Hypot(g.bin.PitchRows*float64(g.bin.Rows), g.bin.PitchColumns*float64(g.bin.Columns))
	low := []float64{math.Log(pitch / 2), -math.Log(lambdaBound)}
	high := []float64{math.Log(4 * diagonal), math.Log(lambdaBound)}
	solve := func(x []float64) (*kriged, float64, error) {
		phi, lambda := math.Exp(x[0]), math.Exp(x[1])
		nugget := make([]float64, len(g.n))
		for i, n := range g.n {
			nugget[i] = lambda / n
		}
		k, err := krige(g.sites, f, g.mean, nugget, matern(phi))
		return k, lambda, err
	}
	minus := func(x []float64) float64 {
		for i := range x {
			if x[i] < low[i] || x[i] > high[i] {
				return math.Inf(1)
			}
		}
		k, lambda, err := solve(x)
		if err != nil {
			return math.Inf(1)
		}
		l, _ := k.restricted(g.within, g.df, lambda)
		return -l
	}
	// A coarse grid finds the right hill; the simplex climbs it.
	start, value := []float64{math.NaN(), math.NaN()}, math.Inf(1)
	for _, phi := range []float64{2 * pitch, 5 * pitch, diagonal} {
		for _, lambda := range []float64{0.02, 0.3, 5} {
			x := []float64{math.Log(phi), math.Log(lambda)}
			if v := minus(x); v < value {
				start, value = x, v
			}
		}
	}
	if math.IsInf(value, 1) {
		return nil, errSingular
	}
	result, err := optimize.Minimize(optimize.Problem{Func: minus}, start,
		&optimize.Settings{Converger: &optimize.FunctionConverge{Absolute: 1e-4, Iterations: 12}, FuncEvaluations: 120},
		&optimize.NelderMead{SimplexSize: 0.7})
	x := start
	if err == nil && result.F < value {
		x = result.X
	}
	k, lambda, err := solve(x)
	if err != nil {
		return nil, err
	}
	_, sill := k.restricted(g.within, g.df, lambda)
	targets := g.targets()
	mean, cov := k.predict(targets, g.trend(targets, nil, degree))
	cov.ScaleSym(sill, cov)
	return &Surface{
		Method: "kriging", Log: mean, Covariance: cov, Positions: len(g.positions), Readings: g.readings,
		Noise: math.Sqrt(lambda * sill), LeaveOneOut: rms(k.leaveOneOut()), Range: math.Exp(x[0]),
	}, nil
}

// regress fits a plane or a mean by least squares. What it leaves out counts as
// error of every position: the residual variance, not that of the fit alone.
func (g *grouped) regress(method string, degree int) (*Surface, error) {
	f := g.trend(g.sites, g.meter, degree)
	n, p := f.Dims()
	if n <= p {
		return nil, fmt.Errorf("%w: %d positions of bin %s for %d unknowns; survey more positions with one meter", ErrShowsNothing, n, g.bin.Name, p)
	}
	none := func(h float64) float64 {
		if h == 0 {
			return 1
		}
		return 0
	}
	k, err := krige(g.sites, f, g.mean, make([]float64, n), none)
	if err != nil {
		return nil, err
	}
	variance := max(k.quad/float64(n-p), meterNoise*meterNoise)
	targets := g.targets()
	f0 := g.trend(targets, nil, degree)
	m := len(targets)
	surface := &Surface{
		Method: method, Positions: len(g.positions), Readings: g.readings, Noise: meterNoise, LeaveOneOut: rms(k.leaveOneOut()),
		Covariance: mat.NewSymDense(m, nil),
	}
	if g.df > 0 {
		surface.Noise = math.Sqrt(g.within / g.df)
	}
	var mean mat.VecDense
	mean.MulVec(f0, k.beta)
	surface.Log = append([]float64(nil), mean.RawVector().Data...)
	var gl mat.TriDense
	k.gram.LTo(&gl)
	w := solveLower(&gl, mat.DenseCopyOf(f0.T()))
	for i := range m {
		for j := i; j < m; j++ {
			c := mat.Dot(w.ColView(i), w.ColView(j))
			if i == j {
				c++
			}
			surface.Covariance.SetSym(i, j, variance*c)
		}
	}
	return surface, nil
}

func rms(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return math.Sqrt(sum / float64(len(x)))
}

// Relative scales the surface so that its weighted mean over the reference
// positions is 1: weights by light.Bin.Index, summing to 1. It gives the ratio
// at each position and its standard error, relative, with the reference's own
// error and their correlation counted.
func (s *Surface) Relative(weights []float64) (ratio, relativeError []float64) {
	m := len(s.Log)
	if len(weights) != m {
		panic("field: weights do not match the grid")
	}
	w := mat.NewVecDense(m, append([]float64(nil), weights...))
	reference := mat.Dot(w, mat.NewVecDense(m, s.Log))
	var cw mat.VecDense
	cw.MulVec(s.Covariance, w)
	variance := mat.Dot(w, &cw)
	ratio, relativeError = make([]float64, m), make([]float64, m)
	for i := range m {
		ratio[i] = math.Exp(s.Log[i] - reference)
		v := s.Covariance.At(i, i) - 2*cw.AtVec(i) + variance
		relativeError[i] = math.Sqrt(max(v, 0))
	}
	return ratio, relativeError
}
